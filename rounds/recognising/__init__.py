"""From a reading to a strike of one bottle: whose pitch it was, and which acts it shows."""
