"""Help at the bench, before any round: which bottle for which note, and how two strikes differ."""
