"""What every face shows and says; the two faces of text. The screens are in `rounds.tui`."""
