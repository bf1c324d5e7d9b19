"""From a reading to a strike of one bottle: which bottle it was, and which acts it shows."""
