"""The journal: everything that happened, append-only, in one SQLite file.

`Journal` is on disk, `MemoryJournal` is not; a session needs only what `Log` says.
"""

from __future__ import annotations

from rounds.journal.protocol import Checkpoint, Log, MemoryJournal, newer_than
from rounds.journal.store import Journal

__all__ = ["Checkpoint", "Journal", "Log", "MemoryJournal", "newer_than"]
