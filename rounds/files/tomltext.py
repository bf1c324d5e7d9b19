"""The text of a TOML file that a player wrote, read within bounds.

tomllib alone is not safe on any file: it needs minutes for one key of some ten thousand dots, and a
folder, a device or a disk image has no end. So size and line length are bounded before it parses.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rounds.errors import BadRig

if TYPE_CHECKING:
    import os

MOST_BYTES = 400_000
MOST_LINE_CHARS = 2000


def read_toml(path: str | os.PathLike[str], what: str, *, mend: str = "check its name") -> dict[str, Any]:
    """The tables of a TOML file; `what` it is, for messages (`rig file`, `shelf file`).

    Args:
        mend: What to do when it cannot be read.

    Raises:
        BadRig: the file cannot be read, is no text, too large, or no TOML.
    """
    return parse_toml(_text(Path(path), what, mend), str(path), what)


def parse_toml(text: str, path: str, what: str) -> dict[str, Any]:
    """The tables of a TOML text.

    Raises:
        BadRig: it is no TOML, or has a line too long to be parsed in time.
    """
    long = next((i for i, line in enumerate(text.splitlines(), 1) if len(line) > MOST_LINE_CHARS), None)
    if long is not None:
        raise BadRig(
            path, [f"line {long} is longer than {MOST_LINE_CHARS} characters; break it into several"]
        )
    try:
        return tomllib.loads(text.replace("\r\n", "\n"))
    except RecursionError as error:
        raise BadRig(path, [f"tables or lists are nested too deep for a {what}"]) from error
    except ValueError as error:
        raise BadRig(path, [f"it is not TOML: {error}"]) from error


def _text(path: Path, what: str, mend: str) -> str:
    try:
        if path.exists() and not path.is_file():
            raise BadRig(str(path), [f"this is not a file; name a {what}"])
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise BadRig(str(path), [f"it cannot be read ({why}); {mend}"]) from error
    if len(data) > MOST_BYTES:
        raise BadRig(str(path), [f"it is larger than {MOST_BYTES // 1000} kB; a {what} is a short text"])
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise BadRig(str(path), [f"byte {error.start} is not UTF-8 text; save the file as UTF-8"]) from error
