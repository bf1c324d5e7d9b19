"""Where our files live, reading a file with every problem at once, and the log of faults."""
