"""Starting a session: what commands share, and the microphone, clock and face put together."""
