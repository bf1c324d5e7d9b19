"""docs/screens.md tells the keys, signs and words that the screens use."""

from __future__ import annotations

from typing import get_args

import pytest

from rounds.faces.plainwords import WORDS
from rounds.instruction import State
from rounds.wording import shown
from tests.tui.keys import PAGE, table, written

TEXT = PAGE.read_text(encoding="utf-8")


def test_keys_are_those_of_the_screens() -> None:
    """Run `python -m tests.tui.keys` when this fails."""
    assert table() in TEXT
    assert written(TEXT) == TEXT


@pytest.mark.parametrize("state", get_args(State))
def test_signs_and_words(state: State) -> None:
    assert f"| `{shown.SIGN[state] or 'name alone'}` | {shown.WORD[state]} |" in TEXT


def test_words_of_the_plain_face_exist() -> None:
    section = TEXT.partition("## In sentences")[2].partition("##")[0]
    named = {part.split()[0] for part in section.split("`")[1::2] if part[0].isalpha()}
    assert named <= set(WORDS)
    assert len(named) > 15
