"""What the journal has to tell: the rehearsal log, the report of a day, and their forms."""
