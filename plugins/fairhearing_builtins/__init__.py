"""The plug-ins that come with fairhearing, found through entry points like anyone's."""
