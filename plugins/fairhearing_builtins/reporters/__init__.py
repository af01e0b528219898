"""Built-in reporters, one file a plug-in."""
