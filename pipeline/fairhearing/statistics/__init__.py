"""Statistics on plain arrays: knows no session, store or plug-in."""
