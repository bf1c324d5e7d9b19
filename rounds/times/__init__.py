"""The run's clock, the journal's time against the machine's clock, and local time."""
