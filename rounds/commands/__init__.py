"""One module a command: `register(subparsers)` and `run(args) -> int`."""
