"""Text that came from outside, made safe for a terminal.

File names, notes, bottle ids and CSV cells are written by anyone. Printed raw, an escape sequence
can clear the screen, rename the window or hide a line, and bidirectional controls can make a line
read other than it is. Everything from outside goes through `plain` on its way to a terminal; the
journal and `--json` keep it as it was.
"""

from __future__ import annotations

import unicodedata

_UNSAFE = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
"""Unicode categories never printed as they are: controls, formats (which hold the bidirectional
controls), lone surrogates, private and unassigned code points, line and paragraph separators."""
_MARKS = frozenset({"Mn", "Me"})
_MARKS_KEPT = 4
"""Combining marks kept in a row; more of them paint over neighbouring lines."""


def plain(text: object, limit: int | None = None) -> str:
    """One line of printable text: unsafe characters become escapes such as `\\x1b`.

    Args:
        text: anything; its `str` is taken.
        limit: longest result in characters; a longer one ends in `…`.
    """
    safe = str(text)
    if not (safe.isascii() and safe.isprintable()):
        safe = _escaped(safe if limit is None else safe[: limit + 1])
    if limit is not None and len(safe) > limit:
        return safe[: max(0, limit - 1)] + "…"
    return safe


def _escaped(text: str) -> str:
    pieces: list[str] = []
    marks = 0
    for char in text:
        category = unicodedata.category(char)
        marks = marks + 1 if category in _MARKS else 0
        if category in _UNSAFE:
            pieces.append(_escape(char))
        elif marks <= _MARKS_KEPT:
            pieces.append(" " if category == "Zs" else char)
    return "".join(pieces)


def _escape(char: str) -> str:
    code = ord(char)
    if code < 0x100:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"
