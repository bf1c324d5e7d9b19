"""What a disk may hold after the power was cut, worked out from what a process asked of the system.

strace records every write, truncation, creation, deletion and sync of a process under one folder. At
any moment between two calls the power may go. Then each file holds what was synced, and of what was
not synced any part: each write may be there whole, not at all, or in some of its 512-byte sectors, in
any order; a truncation, a new name or a deletion may be there or not (a name is safe once its folder
was synced). That is the harshest disk that still keeps what fsync promised; SQLite's own tests assume
the same (https://www.sqlite.org/testing.html, "Crash Testing"; https://www.sqlite.org/atomiccommit.html,
section 2). A disk that lies about fsync is beyond it.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import random
    from collections.abc import Iterator, Sequence
    from pathlib import Path

SECTOR = 512
_CALLS = "openat,pwrite64,write,fsync,fdatasync,ftruncate,unlink,rename"
_LINE = re.compile(r"\d+ +(\w+)\((.*)\) += +(-?\d+)")
_FD = re.compile(r"\d+<((?:\\x[0-9a-f]{2})*)>")
_TEXT = re.compile(r'"((?:\\x[0-9a-f]{2})*)"')


@dataclass(frozen=True)
class Call:
    """One call: `what` is write, truncate, make, remove, sync or say."""

    what: str
    name: str = ""
    offset: int = 0
    data: bytes = b""


def recorded(argv: Sequence[str], folder: Path, trace: Path) -> list[Call]:
    """Run a command and record what it asks of the files in a folder, and what it says on stdout."""
    strace = ["strace", "-f", "-y", "-xx", "-s", "100000", "-e", f"trace={_CALLS}", "-o", str(trace)]
    subprocess.run([*strace, *argv], check=True, stdout=subprocess.DEVNULL)
    with trace.open(encoding="ascii", errors="replace") as lines:
        return list(_calls(lines, str(folder.resolve())))


def _bytes(text: str) -> bytes:
    return bytes.fromhex(text.replace("\\x", ""))


def _calls(lines: Iterator[str], folder: str) -> Iterator[Call]:
    for line in lines:
        found = _LINE.match(line)
        if found is None or int(found[3]) < 0:
            continue
        call, told = found[1], found[2]
        on = _FD.match(told)
        texts = [_bytes(t) for t in _TEXT.findall(told)]
        if call == "write" and told.startswith("1<"):
            yield Call("say", data=texts[0])
            continue
        path = _bytes(on[1]).decode() if on and call != "openat" else ""
        if call in ("openat", "unlink"):
            path = texts[-1].decode()
        if not path.startswith(folder):
            continue
        yield from _of_file(call, told, path.removeprefix(folder).strip("/"), texts)


def _of_file(call: str, told: str, name: str, texts: list[bytes]) -> Iterator[Call]:
    if call == "pwrite64":
        yield Call("write", name, int(told.rsplit(", ", 1)[1]), texts[-1])
    elif call == "ftruncate":
        yield Call("truncate", name, int(told.rsplit(", ", 1)[1]))
    elif call in ("fsync", "fdatasync"):
        yield Call("sync", name)
    elif call == "unlink":
        yield Call("remove", name)
    elif call == "openat" and "O_CREAT" in told:
        yield Call("make", name)
    elif call in ("write", "rename"):
        raise NotImplementedError(f"{call} on a file of ours is not modelled")


@dataclass
class File:
    """What is safe of a file, and what was asked since."""

    safe: bytearray = field(default_factory=bytearray)
    asked: list[Call] = field(default_factory=list)
    named: bool = False
    """Whether its name is safe."""
    removed: bool = False
    """Whether a deletion was asked for and is not safe yet."""

    def after_a_cut(self, rng: random.Random) -> bytes:
        """One of the contents it may have."""
        held = bytearray(self.safe)
        for call in self.asked:
            fate = rng.random()
            if fate < 0.4:
                _apply(held, call)
            elif fate < 0.7 and call.what == "write":
                _apply_some_sectors(held, call, rng)
        return bytes(held)


def _apply(held: bytearray, call: Call) -> None:
    if call.what == "truncate":
        del held[call.offset :]
        held.extend(bytes(call.offset - len(held)))
        return
    if len(held) < call.offset:
        held.extend(bytes(call.offset - len(held)))
    held[call.offset : call.offset + len(call.data)] = call.data


def _apply_some_sectors(held: bytearray, call: Call, rng: random.Random) -> None:
    place, end = call.offset, call.offset + len(call.data)
    while place < end:
        upto = min(end, (place // SECTOR + 1) * SECTOR)
        if rng.random() < 0.5:
            _apply(held, Call("write", call.name, place, call.data[place - call.offset : upto - call.offset]))
        place = upto


class Disk:
    """Files of one folder, call by call."""

    def __init__(self) -> None:
        self.files: dict[str, File] = {}
        self.said = 0

    def take(self, call: Call) -> None:
        """The next call."""
        if call.what == "say":
            self.said = int(call.data)
        elif call.what == "sync" and not call.name:
            self._sync_names()
        elif call.what == "make":
            self.files.setdefault(call.name, File()).removed = False
        elif call.what == "remove":
            self.files[call.name].removed = True
        elif call.what == "sync":
            file = self.files[call.name]
            for one in file.asked:
                _apply(file.safe, one)
            file.asked.clear()
        else:
            self.files[call.name].asked.append(call)

    def _sync_names(self) -> None:
        for name, file in list(self.files.items()):
            if file.removed:
                del self.files[name]
            else:
                file.named = True

    def after_a_cut(self, to: Path, rng: random.Random) -> None:
        """Put one of the possible remains into a folder."""
        shutil.rmtree(to, ignore_errors=True)
        to.mkdir()
        for name, file in self.files.items():
            uncertain = file.removed or not file.named
            if not name.endswith("-shm") and not (uncertain and rng.random() < 0.5):
                (to / name).write_bytes(file.after_a_cut(rng))
