"""What lies ahead: pitches and the next round's due time, breaks, a day's call sheet."""
