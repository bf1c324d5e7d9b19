"""Rig files: read with every problem at once, first made, and written."""
