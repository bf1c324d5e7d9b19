"""What the program says: words and phrases, each event as a sentence, foreign text made printable."""
