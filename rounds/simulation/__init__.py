"""A virtual rig: its air, its players and its sound, for demos and tests. Nothing here is measured data."""
