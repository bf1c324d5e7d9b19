"""From sound to readings: sources, onsets, and the pitch of one strike with its honest uncertainty."""
