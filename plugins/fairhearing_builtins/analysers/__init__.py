"""Built-in analysers, one file a plug-in."""
