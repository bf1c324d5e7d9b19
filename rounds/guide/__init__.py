"""One round: its state machine, what comes next and in which words, what a strike shows."""
