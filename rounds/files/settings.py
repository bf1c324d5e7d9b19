"""What a player sets once for every rig: one TOML file, read whole and checked like a rig file.

The names of keys are only known to the screens, which check them (`rounds.tui.keying`).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from rounds.air import KPA_PER
from rounds.files.problems import Table, shown
from rounds.files.tomltext import read_toml

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rounds.air import PressureUnit
    from rounds.files.problems import Problems

WHAT = "settings file"
THEMES = ("dark", "light", "plain")
GLYPHS = ("bottles", "plain")
MOST_KEYS = 8
"""More keys for one act are a slip."""

EXAMPLE = """\
# What every rig shares. Take away the # in front of a line to set it.
# rig = "my_rig.toml"     # the rig where none is named; from this folder, or ~/...
# theme = "dark"          # or "light", or "plain" for black and white
# glyphs = "bottles"      # or "plain", where the terminal has no little bottles
# bell = true             # false: no bell when a round is due
# voice = false           # true: orders are spoken, a few words at a time
# voice_output = "phones" # the sound output it speaks on, such as an earpiece
# pressure = "psi"        # "bar" or "kPa", for pumps whose rig file names no gauge_unit

[keys]
# Several keys may do one act. `rounds settings` lists the acts. Two pedals of a page-turner:
# offer = ["enter", "pagedown"]
# again = ["space", "pageup"]
"""
"""A file to begin with: nothing is set in it."""


@dataclass(frozen=True)
class Settings:
    """What is set; where nothing is, the defaults."""

    rig: Path | None = None
    """The rig file where none is named."""
    theme: str = "dark"
    glyphs: str = "bottles"
    """Signs: little bottles, or characters that every terminal has."""
    bell: bool = True
    voice: bool = False
    """Whether orders are spoken."""
    voice_output: str | None = None
    """The sound output that the voice speaks on; None: the usual one."""
    pressure: PressureUnit = "psi"
    """The unit of the gauge of a pump whose rig file names none."""
    keys: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Keys by the name of the act, as they were written."""


def read_settings(path: Path, problems: Problems) -> Settings:
    """The settings in a file; the defaults where there is none.

    Raises:
        BadRig: it cannot be read, or is no TOML. What is wrong inside is noted in `problems`.
    """
    if not path.exists():
        return Settings()
    values = read_toml(path, WHAT, mend="check who may read it")
    table = Table(values, "top level", problems, {"keys"})
    usual = Settings()
    settings = Settings(
        rig=_rig(table, path.parent),
        theme=table.choice("theme", usual.theme, THEMES),
        glyphs=table.choice("glyphs", usual.glyphs, GLYPHS),
        bell=table.flag("bell", usual.bell),
        voice=table.flag("voice", usual.voice),
        voice_output=table.optional_text("voice_output"),
        pressure=cast("PressureUnit", table.choice("pressure", usual.pressure, tuple(KPA_PER))),
        keys=_keys(values.get("keys", {}), problems),
    )
    table.finish()
    return settings


def _rig(table: Table, folder: Path) -> Path | None:
    named = table.optional_text("rig", longest=400)
    return None if named is None else folder / Path(named).expanduser()


def _keys(written: Any, problems: Problems) -> dict[str, tuple[str, ...]]:
    if not isinstance(written, dict):
        problems.add("keys", f"found {shown(written)}", 'a table [keys] of lines such as again = ["space"]')
        return {}
    found = {}
    for act, keys in written.items():
        each = [keys] if isinstance(keys, str) else keys
        if isinstance(each, list) and len(each) <= MOST_KEYS and all(isinstance(k, str) for k in each):
            found[act] = tuple(each)
        else:
            problems.add(f"[keys] {act}", f"found {shown(keys)}", f"a list of up to {MOST_KEYS} keys")
    return found
