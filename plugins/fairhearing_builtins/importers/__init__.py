"""Built-in importers, one file a plug-in."""
