"""What is read out of the journal: the rehearsal log, the report of a day, and their forms."""
