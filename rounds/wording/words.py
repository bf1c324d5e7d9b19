"""Short words and phrases that the player reads: counts of strokes, offsets, lists of bottles."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

ENDED = "Closed the old round. Yours starts now."
CAUTION_IN = "Eyes covered, never lean over the cap: expect {expected}, stop at {stop} {unit}."
CAUTION_OUT = "Eyes covered; fingers on the pin, face beside the cap and never over it."
CAUTION_OFF = "Eyes covered, face beside the cap as the head comes off."
_EIGHTHS = ("", "⅛", "¼", "⅜", "½", "⅝", "¾", "⅞")


def counted(number: int, noun: str) -> str:
    """`1 reading`, `3 readings`."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def strokes_in_words(strokes: float) -> str:
    """Strokes to the eighth, the least that a hand can do: `2½`, `⅜`, `12`."""
    whole, part = divmod(eighths(strokes), 8)
    return f"{whole or ''}{_EIGHTHS[part]}" or "0"


def eighths(strokes: float) -> int:
    """A number of strokes in eighths, sign dropped; anything above nothing is at least one."""
    count = round(abs(strokes) * 8)
    return max(count, 1) if strokes else 0


def strokes_phrase(strokes: float) -> str:
    """`3½ strokes`, `½ of a stroke`, `1 stroke`."""
    count = eighths(strokes)
    if 0 < count < 8:
        return f"{strokes_in_words(strokes)} of a stroke"
    return f"{strokes_in_words(strokes)} stroke{'' if count == 8 else 's'}"


def pump_name(pump_id: str) -> str:
    """A pump as it is spoken of: `the floor pump`, `pump1`."""
    return pump_id if "pump" in pump_id.casefold() else f"the {pump_id} pump"


def signed_cents(value: float) -> str:
    """Cents with a sign, no decimals above ten: `+4.5`, `−23`, `0.0`."""
    digits = 0 if abs(value) >= 9.95 else 1
    text = f"{abs(value):.{digits}f}"
    if float(text) == 0.0:
        return text
    return f"{'+' if value > 0 else '−'}{text}"


def whole_cents(cents: float) -> str:
    """`+12`, `−3`, `0`: where there is no room for decimals."""
    size = f"{abs(cents):.0f}"
    return size if size == "0" else ("+" if cents > 0 else "−") + size


AIM_BESIDE_CENTS = 0.5
"""An aim this far from the target is named: there the reading and the work to do differ."""


def offset_in_words(error_cents: float, aim_cents: float = 0.0) -> str:
    """How far off the aim: `12 cents flat`, `on the note`, `3 cents under the aim of +5`.

    Sharp and flat are said of the target alone: at an aim of +5 a bottle that reads +2 is sharp, and
    still wants air.
    """
    beside = abs(aim_cents) >= AIM_BESIDE_CENTS
    named = f"the aim of {whole_cents(aim_cents)}" if beside else "the note"
    size = f"{abs(error_cents):.0f}"
    if size == "0":
        return f"on {named}"
    unit = "cent" if size == "1" else "cents"
    if beside:
        return f"{size} {unit} {'over' if error_cents > 0 else 'under'} {named}"
    return f"{size} {unit} {'sharp' if error_cents > 0 else 'flat'}"


def in_words(names: Sequence[str], most: int = 4) -> str:
    """A list for reading: `C3`, `C3 and D3`, `C3, D3, E3 and 5 more`."""
    if not names:
        return "none"
    if len(names) > most:
        return f"{', '.join(names[: most - 1])} and {len(names) - most + 1} more"
    if len(names) == 1:
        return names[0]
    return f"{', '.join(names[:-1])} and {names[-1]}"
