"""The screens in sentences, for screen readers: what a `View` and the pages beside it say.

Pure: no clock, no terminal. Signs and fractions that a reader swallows are spelled out.
`rounds.faces.news` has what changed from one view to the next.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from rounds.air import kpa_to_psi
from rounds.faces.view import outcome
from rounds.wording import shown
from rounds.wording.printable import plain
from rounds.wording.words import counted, in_words

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from rounds.faces.controller import DriftPath, HealthLine, Level, LogLine
    from rounds.faces.view import BottleView, PersonView, View
    from rounds.forecast.promises_said import PromisesPage
    from rounds.instruction import Instruction
    from rounds.rig import Rig

_IN_TEXT = re.compile(r"\b[A-G][#♯b♭]-?\d{1,2}\b")
_SIGNS = {"+": "plus ", "−": "minus ", "±": "give or take "}
_SIGNED = re.compile(r"([+−±])(?=\d)")
_PARTS = dict(zip("⅛¼⅜½⅝¾⅞", shown.PARTS_SPOKEN[1:], strict=True))
_FRACTION = re.compile(rf"(\d*)([{''.join(_PARTS)}])")
_NAME = re.compile(r"([A-Ga-g])([#♯b♭])(-?\d{1,2})\Z")


def name(bottle: str) -> str:
    """A bottle's name as it is spoken: `C sharp 4`, `B flat 3`, others as they are."""
    match = _NAME.match(bottle)
    if match is None:
        return plain(bottle, 20)
    return f"{match[1].upper()} {'sharp' if match[2] in '#♯' else 'flat'} {match[3]}"


def names(bottles: Iterable[str]) -> str:
    """A list of bottles as it is spoken."""
    return in_words([name(b) for b in bottles], most=12)


def sentence(text: str) -> str:
    """Capital first, full stop last; names and signs that a reader swallows are spelled out."""
    text = _IN_TEXT.sub(lambda m: name(m[0]), plain(text.strip(), 400))
    text = _SIGNED.sub(lambda m: _SIGNS[m[1]], text)
    text = _FRACTION.sub(lambda m: f"{m[1]} and {_PARTS[m[2]]}" if m[1] else _PARTS[m[2]], text)
    return shown.sentence(text)


# The instruction and the reading


def instruction(told: Instruction) -> list[str]:
    """What to do, why, and what to mind."""
    caution = "" if told.caution == told.why else told.caution or ""
    parts = (caution and sentence(caution), _deed(told), sentence(told.why))
    return [part for part in parts if part]


def maybe_swapped(pair: tuple[str, str]) -> str:
    """That two bottles may hang in each other's place, and what to say then."""
    one, other = map(name, pair)
    swap = " ".join(pair)
    return f"{one} and {other}: each sounds like the other's note. If they are swapped, say swap {swap}."


def orders(view: View) -> list[str]:
    """What is to be done now, by one or by each of two."""
    if not view.people:
        return instruction(view.instruction)
    return [said for i, person in enumerate(view.people) for said in of_person(i, person)]


def of_person(person: int, told: PersonView) -> list[str]:
    """What one of two is to do; the person's number comes first, since a voice has no left and right."""
    said = instruction(told.instruction)
    deed = _deed(told.instruction)
    return [f"Person {person + 1}: {part}" if part in (said[0], deed) else part for part in said]


def _deed(told: Instruction) -> str:
    bottle = name(told.bottle) if told.bottle else ""
    if not told.then_strike:
        named = told.bottle is not None and told.bottle in told.detail
        return sentence(told.detail if named else f"{bottle}: {told.detail}")
    strokes = shown.strokes_spoken(told.strokes) if told.strokes else "some air"
    match told.act:
        case "strike":
            return f"Strike {bottle}."
        case "connect":
            return f"{bottle}: {plain(told.pump or 'pump', 20)} pump on, {strokes} in, then strike."
        case "add":
            return f"{bottle}: {strokes} more in, then strike."
        case "release":
            means = "by the pin" if told.pump is None else "by the pump's valve"
            return f"{bottle}: let out {strokes}, {means}, then strike."
        case "gauge":
            return f"{bottle}: read the gauge."
        case "disconnect":
            return f"{bottle}: pump head off, then strike."
        case _:
            return sentence(told.headline)


def reading(view: View) -> list[str]:
    """The newest strike, and whether its bottle is in tune."""
    heard = view.reading
    if heard is None:
        return ["No strike heard yet."]
    if heard.verdict != "clear" or heard.cents is None:
        word = shown.VERDICT_WORD[heard.verdict]
        return [f"{_striker(view)}Not counted: {word}.", *filter(None, [sentence(heard.advice)])]
    whose = name(heard.bottle or heard.note or "that bottle")
    ends = [outcome(b, shown.strokes_spoken) for b in view.bottles if b.id == heard.bottle]
    if heard.bottle in (view.instruction.bottle, *(p.instruction.bottle for p in view.people)):
        ends = [e.removesuffix(", still to do") for e in ends]
    parts = [whose, shown.cents_spoken(heard.cents, heard.u95_cents), *filter(None, ends)]
    return [f"{_striker(view)}{': '.join(parts)}."]


def _striker(view: View) -> str:
    """The person who struck, where two tune at once and it is known."""
    person = None if view.reading is None else view.reading.person
    return "" if person is None else f"Person {person + 1}: "


# Where things stand


def status(view: View, level: Level) -> list[str]:
    """Everything that the screen on top shows, most needed first."""
    if view.mode == "take":
        return take(view)
    if view.mode == "between":
        message = [sentence(view.message)] * bool(view.message)
        return [*due(view), *plays(view), *first(view), *message, *sound(level)]
    return [*orders(view), *reading(view), *progress(view), *sound(level)]


def opening(view: View, level: Level) -> list[str]:
    """What a start says: what to do comes last, since the ear keeps what it heard last."""
    if view.mode != "round":
        return status(view, level)
    told = [said for said in progress(view) if view.connections or said != connections(view)]
    return [*sound(level), *told, *orders(view)]


def progress(view: View) -> list[str]:
    """How far the round is."""
    left = "" if view.seconds_left is None else f", {about(view.seconds_left)} of work"
    said = [f"{view.left} of {view.needed} bottles to do{left}.", connections(view)]
    if view.downbeat_in_s is not None:
        said.append(downbeat(view.downbeat_in_s))
    said += heads(view)
    if view.shift_cents:
        saves = f", which saves {counted(view.shift_saves, 'connection')}" if view.shift_saves > 0 else ""
        moved = f"A4 is moved: {shown.cents_spoken(view.shift_cents)}{saves}"
        said.append(f"Reference {view.reference_hz:.1f} Hz; {moved}.")
    return said + [sentence(view.message)] * bool(view.message)


def heads(view: View) -> list[str]:
    """Where the pump heads are."""
    if not view.people:
        return [] if view.pump_on is None else [f"The pump is on {name(view.pump_on)}."]
    on = [(i, p.pump_on) for i, p in enumerate(view.people, 1) if p.pump_on is not None]
    return [f"Person {i} has the pump on {name(bottle)}." for i, bottle in on]


def about(seconds: float) -> str:
    """`about 6 minutes`, `under a minute`: an estimate has no seconds."""
    minutes = round(seconds / 60.0)
    return f"about {shown.duration_spoken(60.0 * minutes)}" if minutes else "under a minute"


def connections(view: View) -> str:
    """How often the pump went onto a valve."""
    return f"{counted(view.connections, 'connection')} so far."


def downbeat(seconds: float) -> str:
    """How long it is to the downbeat, or since."""
    if seconds < 0:
        return f"The downbeat was {shown.duration_spoken(-seconds)} ago."
    return f"Downbeat in {shown.duration_spoken(seconds)}."


def due(view: View) -> list[str]:
    """Whether to tune, in words, and when the next round should start."""
    if view.due.overdue:
        return ["The next round is due now.", *filter(None, [sentence(view.due.reason)])]
    said = [sentence(view.due.words or view.due.reason)]
    if view.due.due_s is None:
        said.insert(0, "When the next round is due is not known yet.")
    elif view.due.snoozed_s is None:
        said.insert(0, f"The next round is due in {shown.duration_spoken(view.due.due_s)}.")
    return list(filter(None, said))


def plays(view: View) -> list[str]:
    """Which notes to leave out of each piece now."""
    return [sentence(f"now {p.sentence()}") for p in view.playable]


def first(view: View) -> list[str]:
    """What would be done first."""
    ahead = path_of(view)
    if ahead:
        return [f"First would be {names(b.id for b in ahead[:6])}."]
    return [shown.NOBODY_FIRST]


OUT = ("wants_air", "too_full", "unsure", "unheard")
"""States of a bottle that would be done first."""


def path_of(view: View) -> list[BottleView]:
    """The bottles of the path ahead; where there is none, those out or soonest out."""
    if view.path:
        return list(view.path)
    out = [b for b in view.bottles if b.needed and b.state in OUT]
    return sorted(out, key=lambda b: (b.leaves_min is None, b.leaves_min or 0.0))


def path(view: View) -> list[str]:
    """The path ahead: each bottle, whether it is in tune, and why it is visited."""
    if view.people:
        return _paths(view)
    ahead = path_of(view)
    if not ahead:
        return ["No bottle is ahead."]
    unheard = [b for b in ahead if b.state == "unheard"]
    others = [b for b in ahead if b.state != "unheard"]
    said = [sentence(f"{len(unheard)} to be heard: {names(b.id for b in unheard)}")] * bool(unheard)
    return said + [
        sentence(f"{number}: {_ahead(b)}: {b.reason}") for number, b in enumerate(others, len(unheard) + 1)
    ]


def _paths(view: View) -> list[str]:
    """The path ahead of each of two."""
    said = []
    for i in range(len(view.people)):
        ahead = [b for b in path_of(view) if b.person == i]
        said.append(f"Person {i + 1}: {'nothing is ahead.' if not ahead else f'{len(ahead)} ahead.'}")
        said += [sentence(f"{n}: {state(b)}; {b.reason}") for n, b in enumerate(ahead, 1)]
    return said


def _ahead(bottle: BottleView) -> str:
    """A bottle of the path; how far it is out, its reason says."""
    if bottle.cents is None or bottle.state in ("wants_air", "too_full"):
        return name(bottle.id)
    return f"{name(bottle.id)} {shown.cents_spoken(bottle.cents)}"


def state(bottle: BottleView) -> str:
    """What one bottle needs, and how far off its note it is."""
    if bottle.cents is None or bottle.state in ("not_needed", "unheard"):
        return f"{name(bottle.id)} {shown.WORD[bottle.state]}"
    if bottle.state in ("wants_air", "too_full"):
        return f"{name(bottle.id)} {shown.cents_spoken(bottle.cents)}"
    return f"{name(bottle.id)} {shown.WORD[bottle.state]}, {shown.cents_spoken(bottle.cents)}"


def rails(view: View) -> list[str]:
    """Every bottle, rail by rail from the nearest, left to right."""
    said = []
    for rail in sorted({b.rail for b in view.bottles}):
        on_it = sorted((b for b in view.bottles if b.rail == rail), key=lambda b: b.position_cm)
        said.append(f"Rail {rail}: {'; '.join(state(b) for b in on_it)}.")
    return said


def forecast(paths: Sequence[DriftPath]) -> list[str]:
    """When each bottle is expected to leave its tolerance, the first one first."""
    if not paths:
        return ["No forecast yet: no bottle has been heard."]
    leaving = [p for p in paths if p.leaves_min is not None]
    said = [_leaves(p) for p in leaving]
    holding = [p.bottle for p in paths if p.leaves_min is None]
    return said + [f"These hold: {names(holding)}."] * bool(holding)


def _leaves(path: DriftPath) -> str:
    leaves_min, whose = path.leaves_min or 0.0, name(path.bottle)
    after = next((s for m, s in zip(path.minutes, path.standings, strict=True) if m >= leaves_min), "")
    side = after if after in ("sharp", "flat") else ""
    if leaves_min > 0.0:
        when = about(60.0 * leaves_min)
        return f"{whose} is out in {when}{', ' * bool(side)}{side}."
    return f"{whose} is {side or shown.WORD['unsure']} now."


def take(view: View) -> list[str]:
    """The take that runs."""
    if view.take is None:
        return []
    said = [f"{sentence(view.take.name + ' runs')} Nothing is said until it is cut."]
    if view.take.worst_cents is not None:
        whose = f"{name(view.take.worst_bottle)} " if view.take.worst_bottle else ""
        said.append(f"Worst expected: {whose}{shown.cents_spoken(view.take.worst_cents)}.")
    if view.take.likely_out:
        said.append(f"Likely out: {names(view.take.likely_out)}.")
    return said


def sound(level: Level) -> list[str]:
    """The microphone, in words."""
    return [sentence(level.words)] if level.words else []


def sound_check(level: Level) -> list[str]:
    """The sound check, with its figures."""
    figures = [
        f"level {abs(level.dbfs):.0f} decibels below full scale" if level.dbfs is not None else "",
        f"the room {abs(level.floor_dbfs):.0f} below" if level.floor_dbfs is not None else "",
        f"a strike is heard down to {abs(level.strike_dbfs):.0f} decibels below full scale",
    ]
    return [sentence(", ".join(filter(None, figures))), *sound(level)]


def log(lines: Sequence[LogLine], most: int = 12) -> list[str]:
    """The newest lines of the log."""
    if not lines:
        return ["The log is empty."]
    return [_logged(line) for line in lines[:most]]


def _logged(line: LogLine) -> str:
    return sentence(" ".join(filter(None, (line.at, line.kind, name(line.bottle), line.text))))


def health(lines: Sequence[HealthLine]) -> list[str]:
    """The health of each bottle, the worst first."""
    if not lines:
        return ["No history yet."]
    return [
        sentence(f"{name(h.bottle)}, {h.state}: {'; '.join(filter(None, (h.figures, h.advice)))}")
        for h in lines
    ]


def rig(the_rig: Rig) -> list[str]:
    """Bottles, pumps and pieces of the rig."""
    said = [
        f"{plain(the_rig.name, 60)}: {len(the_rig.bottles)} bottles, A4 {the_rig.reference.a4_hz:g} hertz."
    ]
    for pump in the_rig.pumps:
        valve = ", with a release valve" if pump.release_valve else ""
        said.append(f"Pump {plain(pump.id, 20)}: {pump.barrel_ml:g} millilitres{valve}.")
    said += [f"Piece {plain(p.name, 60)}: {len(p.notes)} notes." for p in the_rig.pieces]
    for b in the_rig.by_pitch:
        ceiling = f"ceiling {kpa_to_psi(b.ceiling_kpa):.0f} psi"
        if the_rig.limit_kpa(b.id) < b.ceiling_kpa:
            ceiling += f", the pump's limit {kpa_to_psi(the_rig.limit_kpa(b.id)):.0f} psi"
        said.append(
            f"{name(b.id)}: rail {b.rail}, {b.volume_ml:g} millilitres, pump {plain(b.pump, 20)}, "
            f"tolerance {b.tolerance_cents:g} cents, {ceiling}."
        )
    return said


def promises(page: PromisesPage) -> list[str]:
    """How far what was promised held."""
    return [*(sentence(row.sentence) for row in page.rows), *page.sentences]
