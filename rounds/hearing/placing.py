"""What `rounds check` said of the microphone last, kept so that a session can show it."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

from rounds.files.places import make_folder

if TYPE_CHECKING:
    from pathlib import Path

PLACING = "microphone.json"


@dataclass(frozen=True)
class Placing:
    """A microphone, how it stands (good, usable, bad), and the sentence on what to change."""

    device: str
    placing: str
    sentence: str

    @property
    def words(self) -> str:
        """A few words for a header."""
        return f"{self.device}, checked: {self.placing}"


def keep(path: Path, placing: Placing) -> None:
    """Write it down; where that cannot be done, the check was still made."""
    try:
        make_folder(path.parent)
        path.write_text(json.dumps(asdict(placing)), encoding="utf-8")
    except OSError:
        return


def kept(path: Path) -> Placing | None:
    """What was kept; None where nothing was, or it cannot be read."""
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
        return Placing(str(found["device"]), str(found["placing"]), str(found["sentence"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def label(path: Path, device: str | None) -> str:
    """The microphone in words: as it was named, and what was said of it if it was this one."""
    found = kept(path)
    if found is None or (device and device.casefold() not in found.device.casefold()):
        return device or ""
    return found.words
