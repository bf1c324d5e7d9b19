"""A session: journal first, then beliefs, day and round. Time comes in as an argument."""
