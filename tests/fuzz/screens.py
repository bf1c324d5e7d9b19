"""A player who presses anything: the real screens on a real journal, with random keys, mouse, sizes, sounds.

What must hold: no exception, no hang, whatever was noted is in the journal, nothing that was there is
gone or changed, and whoever starts again finds the day as it was left.
"""

from __future__ import annotations

import random
from contextlib import asynccontextmanager
from typing import TYPE_CHECKING

from textual.pilot import OutOfBounds

from rounds.events import NoteWritten
from rounds.faces.controller import RoundRequest
from rounds.faces.live import Live
from rounds.hearing.reading import Reading
from rounds.journal import Journal, care
from rounds.notes import shifted_hz
from rounds.rigs.rigfile import load_rig
from rounds.sessions.session import Session
from rounds.tui.app import RoundsApp
from rounds.tui.intents import INTENTS
from tests.fuzz.targets import Fault

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable, Coroutine
    from pathlib import Path

    from textual.pilot import Pilot

    from rounds.events import Event

    Act = Callable[[Pilot[int]], Coroutine[object, object, None]]

START_S = 1.78e9
OWN_KEYS = [key for intent in INTENTS if intent.name != "quit" for key in intent.keys.split(",")]
OTHER_KEYS = [
    *"0123456789abcdefghijklmnoprstuvwxyz", "enter", "enter", "tab", "shift+tab", "escape", "up", "down",
    "left", "right", "pageup", "pagedown", "home", "end", "delete", "f1", "f5", "ctrl+a", "ctrl+k", "ctrl+u",
    "full_stop", "comma", "colon", "left_square_bracket", "right_square_bracket", "backslash", "at",
]  # fmt: skip
SIZES = [(20, 5), (24, 6), (40, 12), (60, 20), (80, 24), (120, 30), (140, 40), (200, 60)]
TEXTS = ["[bold]x[/", "\x1b[2J", "\u202eabc", "=1+1", "e\u0301\U0001f9ea", "½", "C4", "-3", "1e999", "19:30"]


class Player:
    """One journal and whoever plays on it, again and again."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.rng = random.Random(seed)
        self.rig = load_rig("configs/one_rail.toml")
        self.path = folder / "journal.db"
        self.accepted = folder / "read"
        self.now_s = START_S
        self.noted: list[str] = []
        self.kept: list[Event] = []
        self.done: list[str] = []

    @asynccontextmanager
    async def on_screen(self) -> AsyncIterator[Pilot[int]]:
        """The app from its start to its end, on the journal as it is."""
        with Journal(self.path) as journal:
            session = Session(self.rig, journal, self.now_s)
            if self.rng.random() < 0.8:
                self.accepted.touch()
            self.live = Live(session, lambda: self.now_s, accepted_file=self.accepted)
            if session.round is None and self.rng.random() < 0.7:
                downbeat_in_s = self.rng.choice((None, 60.0, 1200.0))
                self.live.open_round(RoundRequest(downbeat_in_s=downbeat_in_s))
            self.app = RoundsApp(self.live)
            async with self.app.run_test(size=self.rng.choice(SIZES)) as pilot:
                yield pilot
                self.app.exit(0)

    async def plays(self, steps: int) -> None:
        """So many acts, with a new start now and then."""
        while steps > 0:
            share = min(steps, self.rng.randrange(20, 120))
            steps -= share
            async with self.on_screen() as pilot:
                for _ in range(share):
                    await self._act(pilot)
                before = self.live.session.day
            self._check()
            with Journal(self.path) as journal:
                after = Session(self.rig, journal, self.now_s).day
            if (after.round, after.take, after.takes, after.rounds) != (
                before.round, before.take, before.takes, before.rounds,
            ):  # fmt: skip
                raise Fault("a new start found another day")

    async def _act(self, pilot: Pilot[int]) -> None:
        acts: tuple[Act, ...] = (self._key, self._key, self._key, self._time, self._click, self._type)
        if len(self.app.screen_stack) > 1 and self.rng.random() < 0.3:
            acts = (self._home,)
        elif self.live.view().mode == "round" and self.rng.random() < 0.5:
            acts = (self._sound,)
        act = self.rng.choice((*acts, self._resize, self._note) if self.rng.random() < 0.2 else acts)
        self.done.append(act.__name__)
        await act(pilot)
        await pilot.pause()

    async def _key(self, pilot: Pilot[int]) -> None:
        key = self.rng.choice(OWN_KEYS if self.rng.random() < 0.7 else OTHER_KEYS)
        self.done[-1] += f" {key}"
        await pilot.press(key)

    async def _home(self, pilot: Pilot[int]) -> None:
        await pilot.press("escape")

    async def _type(self, pilot: Pilot[int]) -> None:
        """What a paste or an odd keyboard brings."""
        focused = self.app.focused
        if focused is not None and hasattr(focused, "insert_text_at_cursor"):
            focused.insert_text_at_cursor(self.rng.choice(TEXTS))

    async def _sound(self, pilot: Pilot[int]) -> None:
        """A strike, most often of the bottle asked for, from another thread's hands."""
        asked = self.live.view().instruction.bottle or self.rng.choice(self.rig.bottles).id
        bottle = asked if self.rng.random() < 0.8 else self.rng.choice(self.rig.bottles).id
        hz = shifted_hz(self.rig.target_hz(bottle), self.rng.choice((0.0, 1.0, -14.0, 25.0, -300.0)))
        clear = self.rng.random() < 0.8
        self.live._levelled(self.rng.uniform(-120.0, 0.0), self.rng.uniform(-120.0, 0.0))
        self.live._heard(
            Reading(
                at_s=self.now_s,
                hz=hz if clear else None,
                cents=0.0 if clear else None,
                u95_cents=1.0 if clear else None,
                verdict="clear" if clear else self.rng.choice(("quiet", "two_ringing", "unclear")),
                ring_s=0.3,
                peak_dbfs=-20.0,
                clipped=False,
                stage=self.rng.choice(("provisional", "final", "final")),
            )
        )

    async def _time(self, pilot: Pilot[int]) -> None:
        self.now_s += self.rng.choice((0.1, 1.0, 7.0, 61.0, 600.0, 3600.0))
        self.app._wake()

    async def _click(self, pilot: Pilot[int]) -> None:
        width, height = self.app.size
        place = (self.rng.randrange(width), self.rng.randrange(height))
        try:
            await pilot.click(offset=place, button=self.rng.choice((1, 1, 3)))
        except OutOfBounds:
            self.done[-1] += " beside"

    async def _resize(self, pilot: Pilot[int]) -> None:
        await pilot.resize_terminal(*self.rng.choice(SIZES))

    async def _note(self, pilot: Pilot[int]) -> None:
        """Go home and write a note: it must be there afterwards."""
        if self.live.first_run:
            return
        if self.live.view().mode == "take":
            await pilot.press("t")
        for _ in range(12):
            if len(self.app.screen_stack) == 1:
                break
            await pilot.press("escape")
            await pilot.pause()
        else:
            raise Fault(f"no way home from {self.app.screen}")
        text = "".join(self.rng.choice("abcdefghij") for _ in range(8))
        await pilot.press("n")
        await pilot.pause()
        await pilot.press(*text, "enter")
        self.noted.append(text)
        self._check()

    def _check(self) -> None:
        """The journal is whole, has every note, and what it had before as it was."""
        with Journal(self.path, read_only=True) as journal:
            events = [event for _, event in journal.events()]
        if events[: len(self.kept)] != self.kept:
            raise Fault("an event was lost or changed")
        self.kept = events
        texts = [event.text for event in events if isinstance(event, NoteWritten)]
        if [text for text in texts if text in self.noted] != self.noted:
            raise Fault(f"a note is missing: {self.noted[-1]}")
        if care.check(self.path).problems:
            raise Fault("the journal is damaged")
