"""Signs, figures and spoken phrases that the screens and the plain sentences share.

Pure. Figures (`3½`, `+12`) are for eyes, spoken phrases (`3 and a half strokes`) for a screen reader,
which swallows signs and fractions. Strokes go to the eighth, as doses do: a figure here and the
order it stands beside are the same number.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from rounds.wording.words import eighths, strokes_in_words

if TYPE_CHECKING:
    from rounds.events import Verdict
    from rounds.instruction import Act, Instruction, State

WORD: dict[State, str] = {
    "wants_air": "wants air",
    "too_full": "too full",
    "holds": "holds",
    "fades": "fades",
    "unheard": "unheard",
    "unsure": "unsure",
    "left_out": "left out",
    "set_aside": "set aside",
    "not_needed": "not needed",
}
LEVELS = ("▇", "▆", "▅", "▄", "▃", "▂", "▁")
"""How full a bottle is drawn that wants an eighth of a stroke, a quarter, ... four, more."""
SIGN: dict[State, str] = {
    "wants_air": "▕▄▏",
    "too_full": "▐█▌",
    "holds": "▔",
    "fades": "╌",
    "unheard": "▕ ▏",
    "unsure": "▕░▏",
    "left_out": "▕╱▏",
    "set_aside": "▕╳▏",
    "not_needed": "",
}
"""A bottle drawn small, each state of another shape: colour is never the only difference."""


def level_of(strokes: float) -> str:
    """The level of a bottle that wants so many strokes: each step down is twice the work."""
    step = 3.0 + math.log2(max(abs(strokes), 1e-9))
    return LEVELS[min(len(LEVELS) - 1, max(0, round(step)))]


def fullness(strokes: float) -> float:
    """How full to draw a bottle that needs so many strokes more, 0 to 1."""
    return 1.0 - (LEVELS.index(level_of(strokes)) + 1) / (len(LEVELS) + 1)


def work_figure(strokes: float | None) -> str:
    """Strokes as they are counted from afar: `¼`, `1½`, `12`; nothing where none are known."""
    if not strokes:
        return ""
    return strokes_in_words(countable(strokes))


def countable(strokes: float) -> float:
    """Strokes, sign dropped, in the parts that a hand counts: the fewer, the more there are."""
    size = abs(strokes)
    part = 8 if size < 1.0 else 4 if size < 3.0 else 2 if size < 10.0 else 1
    return max(1.0 / part, round(size * part) / part)


VERDICT_WORD: dict[Verdict, str] = {
    "clear": "clear",
    "quiet": "too quiet",
    "other_bottle": "another bottle",
    "two_ringing": "two bottles ring",
    "unclear": "not clear",
}

_ORDER: dict[Act, str] = {
    "strike": "STRIKE",
    "connect": "PUMP",
    "add": "ADD",
    "release": "LET OUT",
    "disconnect": "HEAD OFF",
    "gauge": "READ GAUGE",
}
MOVES_AIR: tuple[Act, ...] = ("connect", "add", "release")
"""Acts that move air; `connect` puts the pump on and goes on to pump."""
LEAST_COUNTED = 2
"""Eighths of a stroke: less than a quarter no hand can count, so it is ordered as a bit."""
PARTS_SPOKEN = (
    "",
    "an eighth",
    "a quarter",
    "three eighths",
    "a half",
    "five eighths",
    "three quarters",
    "seven eighths",
)


def sentence(text: str) -> str:
    """A phrase as a sentence: capital first, full stop last; nothing stays nothing."""
    text = text.strip()
    if not text:
        return ""
    return text[0].upper() + text[1:] + ("" if text[-1] in ".!?…" else ".")


def uncertainty_figure(u95_cents: float) -> str:
    """`±1.8` below ten cents, `±14` above."""
    return f"±{u95_cents:.0f}" if u95_cents >= 9.95 else f"±{u95_cents:.1f}"


def strokes_spoken(strokes: float) -> str:
    """`3 and a half strokes`, `three eighths of a stroke`: no sign that a reader may swallow."""
    whole, rest = divmod(eighths(strokes), 8)
    if whole and rest:
        return f"{whole} and {PARTS_SPOKEN[rest]} strokes"
    if rest:
        return "half a stroke" if rest == 4 else f"{PARTS_SPOKEN[rest]} of a stroke"
    return f"{whole} stroke{'' if whole == 1 else 's'}"


def cents_spoken(cents: float, u95_cents: float | None = None) -> str:
    """`12 cents sharp, give or take 2`."""
    size = abs(cents)
    figure = f"{size:.0f}" if size >= 9.95 else f"{size:.1f}".removesuffix(".0")
    if figure == "0":
        text = "dead on"
    else:
        text = f"{figure} cent{'' if figure == '1' else 's'} {'sharp' if cents > 0 else 'flat'}"
    if u95_cents is None:
        return text
    return f"{text}, give or take {f'{u95_cents:.0f}' if u95_cents >= 1.95 else f'{u95_cents:.1f}'}"


def clock(seconds: float) -> str:
    """`7:40`, `1:02:10`, `−0:20` once it has passed."""
    total = math.ceil(abs(seconds)) if seconds > 0 else math.floor(abs(seconds))
    minutes, secs = divmod(int(total), 60)
    hours, minutes = divmod(minutes, 60)
    figure = f"{hours}:{minutes:02d}:{secs:02d}" if hours else f"{minutes}:{secs:02d}"
    return f"−{figure}" if seconds < 0 and total else figure


def minutes_figure(seconds: float) -> str:
    """`under 1 min`, `6 min`: an estimate has no seconds."""
    minutes = round(seconds / 60.0)
    return f"{minutes} min" if minutes else "under 1 min"


def duration_spoken(seconds: float) -> str:
    """`7 minutes 40 seconds`, `2 hours 5 minutes`; seconds only below ten minutes."""
    total = max(0, round(seconds))
    hours, rest = divmod(total, 3600)
    minutes, secs = divmod(rest, 60)
    shown = [(hours, "hour"), (minutes, "minute"), (secs if total < 600 else 0, "second")]
    words = [f"{n} {name}{'' if n == 1 else 's'}" for n, name in shown if n]
    return " ".join(words) or "no time"


def order(instruction: Instruction) -> str:
    """The act as the few words that are painted large beside the bottle: `PUMP 3½`, `ADD A BIT`, `STRIKE`."""
    words = _ORDER.get(instruction.act)
    if words is None:
        return instruction.headline.rpartition(": ")[2].upper()
    strokes = _counted(instruction)
    if not strokes:
        return words
    if eighths(strokes) < LEAST_COUNTED:
        return f"{words} A BIT"
    return f"{words} {strokes_in_words(strokes)}"


def air_way(instruction: Instruction) -> str:
    """How the air moves: `in, by the pump`, `out, by the pin`; empty when none is to move."""
    strokes = _counted(instruction)
    if strokes > 0:
        return "in, by the pump"
    means = "out, by the pin" if instruction.pump is None else "out, by the pump's valve"
    return means if strokes else ""


def snoozed(minutes: float) -> str:
    """What a snooze is answered."""
    return (
        f"No round is called due for {minutes:g} minutes." if minutes else "A round is called due when it is."
    )


NOBODY_FIRST = "Nothing needs air now."
"""Said in place of the bottles that would be done first."""


def _counted(instruction: Instruction) -> float:
    """The strokes to count, 0 for none: a gauge, not a count, says when an over-filled bottle is let down."""
    counts = instruction.act in MOVES_AIR and instruction.then_strike
    return (instruction.strokes or 0.0) if counts else 0.0
