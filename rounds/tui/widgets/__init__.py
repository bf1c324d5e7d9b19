"""One module a widget; each paints a plain value and decides nothing."""
