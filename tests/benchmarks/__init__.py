"""How fast the heavy parts are, as ratios to a peer or a limit that is measured in the same run."""
