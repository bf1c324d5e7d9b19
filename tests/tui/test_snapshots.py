"""A last net under the screens: their pictures, compared with pictures that were looked at.

Made on one Python and one Textual, since both change how a picture is written; on others these are
skipped. `pytest tests/tui/test_snapshots.py --snapshot-update` makes them anew: look at each first.
"""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import pytest
import textual
from textual.widgets import Input

from rounds.tui.app import RoundsApp
from rounds.tui.widgets.slab import Slab
from tests.tui.fake import controller

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable

    from textual.pilot import Pilot

MADE_ON = ((3, 11), "8.2")
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        (sys.version_info[:2], ".".join(textual.__version__.split(".")[:2])) != MADE_ON,
        reason="pictures were made on Python 3.11 with Textual 8.2; others write them differently",
    ),
]

SIZES = {"80x24": (80, 24), "140x40": (140, 40)}
SCREENS: dict[str, tuple[str, tuple[str, ...]]] = {
    "round": ("round", ()),
    "strike": ("strike", ()),
    "release": ("release", ()),
    "unclear": ("unclear", ()),
    "two": ("two", ()),
    "turns": ("turns", ()),
    "between": ("between", ("down",)),
    "take": ("take", ()),
    "log": ("round", ("2",)),
    "health": ("round", ("3",)),
    "rig": ("round", ("4",)),
    "sound": ("round", ("5",)),
    "help": ("round", ("question_mark",)),
    "cautions": ("first", ()),
    "open_round": ("between", ("r",)),
}


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("screen", SCREENS)
def test_screen(snap_compare: Callable[..., bool], screen: str, size: str) -> None:
    """One screen at one size."""
    scene, keys = SCREENS[screen]
    assert snap_compare(RoundsApp(controller(scene)), terminal_size=SIZES[size], run_before=_press(keys))


MOMENTS = {
    "no_microphone": ("no_microphone", (), "NO MICROPHONE"),
    "gauge": ("gauge", ("2", "5"), "25"),
    "swapped": ("swapped", (), "D4 OR E4?"),
    "next_in": ("next_in", (), "NEXT IN 4:46"),
    "time_short": ("late", (), "ADD 2½"),
    "ran_out": ("ran_out", (), "ALL HOLD"),
    "due": ("due", (), "TUNE NOW"),
    "empty": ("strike", ("f",), "STRIKE"),
}
"""Moments that are not ordinary: the scene, keys, and what the large words then say."""


@pytest.mark.parametrize("moment", MOMENTS)
def test_moment(snap_compare: Callable[..., bool], moment: str) -> None:
    """Its large words are right, and it looks as it was looked at."""
    scene, keys, words = MOMENTS[moment]
    app = RoundsApp(controller(scene))

    async def before(pilot: Pilot[int]) -> None:
        await _press(keys)(pilot)
        slabs = pilot.app.screen_stack[0].query(Slab)
        shown = [s.model.order for s in slabs if s.model is not None and s.region.area]
        assert words in shown, shown

    assert snap_compare(app, terminal_size=(80, 24), run_before=before)


@pytest.mark.parametrize("theme", ["rounds-light", "rounds-plain"])
def test_theme(snap_compare: Callable[..., bool], theme: str) -> None:
    """The other themes."""
    app = RoundsApp(controller("release"))
    app.theme = theme
    assert snap_compare(app, terminal_size=(80, 24), run_before=_press(()))


def _press(keys: tuple[str, ...]) -> Callable[[Pilot[int]], Awaitable[None]]:
    async def before(pilot: Pilot[int]) -> None:
        for key in keys:
            await pilot.press(key)
            await pilot.pause()
        for field in pilot.app.screen.query(Input):
            field.cursor_blink = False
        await pilot.pause(0.2)

    return before
