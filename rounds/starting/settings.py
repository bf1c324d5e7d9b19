"""The player's settings, checked to the end: their values, and their keys as the screens know them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.errors import BadRig
from rounds.files.places import settings_file
from rounds.files.problems import Problems
from rounds.files.settings import read_settings

if TYPE_CHECKING:
    from rounds.files.settings import Settings


def checked_settings() -> Settings:
    """What is set.

    Raises:
        BadRig: the file has problems; all of them are listed.
    """
    path, problems = settings_file(), Problems()
    settings = read_settings(path, problems)
    if settings.keys:
        from rounds.tui.keying import intents_with  # late: only keys that are set need the library's names

        intents_with(settings.keys, problems)
    if problems.found:
        raise BadRig(str(path), problems.found)
    return settings
