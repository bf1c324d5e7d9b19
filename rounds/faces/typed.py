"""What a player types, read: numbers, downbeats, bottles, pieces. Both faces use it.

Pure. Anything that cannot be used raises `BadInput` with a sentence that says what can.
"""

from __future__ import annotations

import datetime
import difflib
import math
import re
from typing import TYPE_CHECKING

from rounds.air import KPA_PER, NO_GAUGE, parse_pressure, pressure_figure
from rounds.errors import BadInput
from rounds.sessions.rig_acts import LAST_A4
from rounds.times.local import next_moment_s
from rounds.wording.printable import plain

if TYPE_CHECKING:
    from rounds.air import PressureUnit
    from rounds.events import Part
    from rounds.rig import Rig

_TIME = re.compile(r"(\d{1,2})[:.h](\d{2})\Z")
_FRACTIONS = {sign: n / 8.0 for n, sign in enumerate("⅛¼⅜½⅝¾⅞", 1)}
_WORDS = {"a quarter": 0.25, "half": 0.5, "a half": 0.5}
_PART = re.compile(r"(?:(\d+) )?(\d+)/(\d+)\Z")
_MOST_MINUTES = 600.0
_FEW = 9
"""So many names are listed where none fits."""
LONGEST_WAIT_S = 12 * 3600.0
"""A time of day further ahead than this is taken as one that has passed."""


def number(text: str, what: str, low: float, high: float) -> float:
    """A number with a point or a comma, `2½`, `⅜` and `1 3/16` included, within bounds.

    Raises:
        BadInput: not a number, or outside low to high.
    """
    value = _value(text.strip())
    if value is None or not math.isfinite(value):
        raise BadInput(f"{what}: {plain(text, 20)!r} is not a number")
    if not low <= value <= high:
        raise BadInput(f"{what}: {plain(text, 20)} is outside {low:g} to {high:g}")
    return value


def _value(text: str) -> float | None:
    sign = -1.0 if text.startswith(("-", "−")) else 1.0
    body = text[1:] if text.startswith(("+", "-", "−")) else text
    if body in _WORDS:
        return sign * _WORDS[body]
    part = _PART.match(body)
    if part is not None and int(part[3]):
        return sign * (int(part[1] or 0) + int(part[2]) / int(part[3]))
    extra = _FRACTIONS.get(body[-1:], 0.0)
    whole = (body[:-1].strip() or "0") if extra else body
    if not whole[:1].isdigit():
        return None
    try:
        return sign * (float(whole.replace(",", ".")) + extra)
    except ValueError:
        return None


def downbeat_in_s(text: str, clock_s: float) -> float | None:
    """Seconds to a downbeat typed as `12` or `+12` (minutes) or `19:30` (local time); None for nothing.

    Args:
        text: what was typed.
        clock_s: what the machine's clock shows (UTC epoch seconds). Summer time may begin or end meanwhile.

    Raises:
        BadInput: neither of these, or a time that has passed.
    """
    text = text.strip()
    if not text:
        return None
    at = _TIME.match(text)
    if at is None:
        return 60.0 * number(text, "minutes to the downbeat", 0.0, _MOST_MINUTES)
    hours, minutes = int(at[1]), int(at[2])
    if hours > 23 or minutes > 59:
        raise BadInput(f"downbeat: {text} is not a time of day")
    ahead_s = next_moment_s(datetime.time(hours, minutes), clock_s) - clock_s
    if ahead_s > LONGEST_WAIT_S:
        raise BadInput(f"downbeat: {text} has passed")
    return ahead_s


def bottle(text: str, rig: Rig) -> str:
    """The id of a bottle, whatever the capitals.

    Raises:
        BadInput: the rig has no such bottle; a near miss is named.
    """
    return _named(text, [b.id for b in rig.bottles], "bottle")


def bottle_or_spare(text: str, rig: Rig) -> str:
    """The id of a bottle or of a spare, whatever the capitals.

    Raises:
        BadInput: the rig has no such bottle; a near miss is named.
    """
    return _named(text, [b.id for b in rig.with_spares], "bottle")


def two_bottles(text: str, rig: Rig) -> tuple[str, str]:
    """Two bottles with a space between, spares too, whatever the capitals.

    Raises:
        BadInput: not two, or the rig has no such bottle.
    """
    ids = [b.id for b in rig.with_spares]
    words = text.split()
    for cut in range(1, len(words)):
        one, other = " ".join(words[:cut]), " ".join(words[cut:])
        if cut == len(words) - 1 or all(i.casefold() in map(str.casefold, ids) for i in (one, other)):
            return bottle_or_spare(one, rig), bottle_or_spare(other, rig)
    raise BadInput("name two bottles, as in swap C4 E4")


def a4(text: str | None) -> float | str | None:
    """What A4 is tuned to, in hertz, or as in the round before; None: nothing was said.

    Raises:
        BadInput: neither.
    """
    if text is None or text.casefold() == LAST_A4:
        return None if text is None else LAST_A4
    return number(text, "A4", 350.0, 550.0)


def gauge(text: str, rig: Rig, here: str | None) -> tuple[str, str]:
    """The bottle and the pressure of `46`, `C4 3.2 bar` or `none`; without a name, the bottle in hand.

    Raises:
        BadInput: no such bottle, or none is named and none is in hand.
    """
    first, _, others = text.strip().partition(" ")
    named = bool(first) and not first[0].isdigit() and first[0] not in ".," and first.casefold() != NO_GAUGE
    if named:
        return bottle(first, rig), others.strip()
    if here is None:
        raise BadInput("which bottle? Type its name before the pressure, as in gauge C4 35")
    return here, text.strip()


def readable(text: str, unit: PressureUnit) -> str:
    """What was typed of a gauge, if it is a pressure (a bare number in `unit`) or `none`.

    Raises:
        BadInput: it is neither.
    """
    if text.casefold() != NO_GAUGE:
        try:
            parse_pressure(text, unit)
        except ValueError as error:
            raise BadInput(f"gauge: {error}, or {NO_GAUGE} where there is none") from None
    return text


def gauge_said(text: str, unit: PressureUnit) -> str:
    """What a gauge was said to read: `46 psi`, `3.2 bar`, `no gauge`."""
    if text.casefold() == NO_GAUGE:
        return "no gauge"
    kpa = parse_pressure(text, unit)
    written = next((u for u in KPA_PER if text.casefold().endswith(u.casefold())), unit)
    return f"{pressure_figure(kpa, written)} {written}"


def pieces(text: str, rig: Rig) -> tuple[str, ...]:
    """Names of pieces by number or first letters, separated by commas or spaces; nothing for all bottles.

    Raises:
        BadInput: the rig has no such piece, or two that begin so.
    """
    names = [p.name for p in rig.pieces]
    found = [name for part in text.split(",") if part.strip() for name in _pieces_in(part, names)]
    return tuple(dict.fromkeys(found))


def _pieces_in(part: str, names: list[str]) -> list[str]:
    """The piece that a part between commas names, or else one for each of its words."""
    whole, words = _beginning(part.strip(), names), part.split()
    by_word = [_beginning(word, names) for word in words]
    if whole or not all(by_word):
        return [_one_piece(part.strip(), whole, names)]
    return [_one_piece(word, found, names) for word, found in zip(words, by_word, strict=True)]


def _beginning(text: str, names: list[str]) -> list[str]:
    """The pieces meant by a number, a whole name, or the first letters of one."""
    if text.isascii() and text.isdigit():
        return names[int(text[:4]) - 1 : int(text[:4])] if int(text[:4]) else []
    wanted = text.casefold()
    exact = [n for n in names if n.casefold() == wanted]
    return exact or [n for n in names if n.casefold().startswith(wanted)]


def _one_piece(text: str, found: list[str], names: list[str]) -> str:
    if len(found) > 1:
        raise BadInput(
            f"piece: {plain(text, 30)!r} fits {' and '.join(found)}; type more of it, or its number"
        )
    return found[0] if found else _named(text, names, "piece")


def _named(text: str, names: list[str], kind: str) -> str:
    wanted = text.strip().casefold()
    if not wanted:
        raise BadInput(f"name a {kind}, such as {names[0]}" if names else f"the rig has no {kind}")
    for name in (text.strip(), *names):
        if name in names and name.casefold() == wanted:
            return name
    near = difflib.get_close_matches(wanted, [n.casefold() for n in names], 1)
    hint = next((f"; did you mean {n}?" for n in names if near and n.casefold() == near[0]), "")
    if not hint and 0 < len(names) <= _FEW:
        hint = f"; it has {', '.join(names)}"
    raise BadInput(f"the rig has no {kind} {plain(text.strip(), 30)!r}{hint}")


def empties(text: str, rig: Rig) -> bool | tuple[str, ...]:
    """Which bottles hold no air: `all`, or names with spaces or commas between; nothing for none.

    Raises:
        BadInput: the rig has no such bottle.
    """
    names = text.replace(",", " ").split()
    if [n.casefold() for n in names] == ["all"]:
        return True
    return tuple(bottle(n, rig) for n in names) or False


def part(text: str) -> Part:
    """`cap` or `bottle`.

    Raises:
        BadInput: anything else.
    """
    word = text.strip().casefold()
    if word == "cap":
        return "cap"
    if word == "bottle":
        return "bottle"
    raise BadInput(f"part: {plain(text.strip(), 20)!r} is neither cap nor bottle")
