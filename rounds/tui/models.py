"""From a `View` to what each widget paints. No rule is made here: only which field goes where."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.faces.view import outcome
from rounds.tui.widgets.airline import AirModel
from rounds.tui.widgets.bigclock import ClockModel
from rounds.tui.widgets.lines import Said
from rounds.tui.widgets.pair import MARKS
from rounds.tui.widgets.rails import RailsModel
from rounds.tui.widgets.reading import ReadingModel
from rounds.tui.widgets.ribbons import LEGEND
from rounds.tui.widgets.slab import SlabModel
from rounds.tui.widgets.stillness import StillModel
from rounds.tui.widgets.strip import Fact, StripModel
from rounds.wording import shown
from rounds.wording.printable import plain
from rounds.wording.words import counted, in_words, signed_cents, sixteenths, strokes_phrase, whole_cents

if TYPE_CHECKING:
    from rounds.faces.controller import Level
    from rounds.faces.view import BottleView, View
    from rounds.instruction import Standing

_PHASE = {"listen": "LISTEN", "visits": "TUNE", "verify": "HEAR AGAIN", "done": "DONE", "none": "ROUND"}
LET_IT_RING = "LET IT RING"
"""Stands large while a strike is measured: a second strike now would spoil the first."""
_PATH_SHOWN, _FIRST_SHOWN = 8, 4


def slab(view: View) -> SlabModel:
    """The instruction, large."""
    told, heard = view.instruction, view.reading
    measuring = heard is not None and not heard.final and heard.bottle == told.bottle
    order = LET_IT_RING if measuring else plain(shown.order(told), 40)
    return SlabModel(told.act, plain(told.bottle or "", 8), order)


def reading(view: View) -> ReadingModel:
    """The newest strike and the air it asks for."""
    heard = view.reading
    if view.phase == "done" and view.instruction.act == "none":
        return ReadingModel(None, advice=ending(view))
    if heard is None:
        return ReadingModel(None, advice="No strike heard yet.")
    name = plain(heard.bottle or heard.note or "?", 8)
    return ReadingModel(
        heard.verdict,
        name,
        heard.cents,
        heard.u95_cents,
        meaning(view),
        plain(heard.advice, 160),
        aim_text(view),
        past=heard.bottle != view.instruction.bottle,
    )


def ending(view: View) -> str:
    """How a finished round ends, and what comes after it."""
    by_itself = "after a minute" if view.downbeat_in_s is None else "at the downbeat"
    return f"It ends {by_itself}, or with e; t then begins a take."


def aim_text(view: View) -> str:
    """`aim +5` where the plan aims beside the target, so that cents and strokes do not seem to disagree."""
    told, heard = view.instruction, view.reading
    if told.aim_cents is None or heard is None or heard.bottle != told.bottle:
        return ""
    beside = told.aim_cents - view.shift_cents
    return f"aim {whole_cents(beside)}" if abs(beside) >= 1.0 else ""


def meaning(view: View) -> str:
    """What the reading leads to: strokes, the reason of the act, or what becomes of a bottle just left."""
    told, heard = view.instruction, view.reading
    if heard is None:
        return ""
    if heard.bottle != told.bottle:
        return "".join(outcome(b) for b in view.bottles if b.id == heard.bottle)
    if not heard.final:
        return heard.advice
    way = shown.air_way(told)
    if way and told.strokes:
        return f"{strokes_phrase(told.strokes)} {way}"
    if told.act == "disconnect":
        return "no more air now"
    return plain(heard.advice if told.act == "strike" else told.why, 80)


def air(view: View) -> AirModel:
    """The strokes to make."""
    told = view.instruction
    way = shown.air_way(told)
    count = sixteenths(told.strokes) if way and told.strokes else 0
    return AirModel(count, way)


def rails(view: View) -> RailsModel:
    """Every bottle as it stands."""
    return RailsModel(view.bottles, view.instruction.bottle, view.pump_on)


def path(view: View) -> tuple[BottleView, ...]:
    """The bottles of the path ahead, next first."""
    ahead = [b for b in view.bottles if b.place_in_path is not None]
    return tuple(sorted(ahead, key=lambda b: b.place_in_path or 0))


def path_text(view: View, most: int = _PATH_SHOWN) -> str:
    """`then C4▼  G3▲  and 4 more`: what comes after the bottle in hand."""
    if view.people:
        return _paths_text(view, most)
    ahead = [b for b in path(view) if b.id != view.instruction.bottle]
    if not ahead:
        return ""
    names = "  ".join(f"{plain(b.id, 8)}{shown.SIGN[b.standing]}" for b in ahead[:most])
    more = len(ahead) - most
    return f"then  {names}" + (f"  and {more} more" if more > 0 else "")


def _paths_text(view: View, most: int) -> str:
    """`● then C4▼ G3▲   ■ then D5▲`: the paths of two people, by their marks."""
    told = []
    for i, own in enumerate(view.people):
        ahead = [b for b in path(view) if b.person == i and b.id != own.instruction.bottle]
        names = " ".join(f"{plain(b.id, 8)}{shown.SIGN[b.standing]}" for b in ahead[: max(2, most // 2)])
        more = len(ahead) - max(2, most // 2)
        if ahead:
            told.append(f"{MARKS[i]} then {names}" + (f" +{more}" if more > 0 else ""))
    return "   ".join(told)


def why(view: View) -> tuple[Said, ...]:
    """The sentences under the slab: what to do in full, then why."""
    told = view.instruction
    parts = (shown.sentence(plain(text, 240)) for text in (told.detail, told.why))
    return tuple(Said(part, "bold") for part in parts if part)


def caution(view: View) -> tuple[Said, ...]:
    """What to mind where air goes in, unless it was said as the reason already."""
    told = view.instruction
    text = "" if told.caution == told.why else plain(told.caution or "", 240)
    return (Said(f"! {text}" if text else "", "$doubt"),)


def said(view: View, level: Level, answer: str) -> tuple[Said, ...]:
    """The one line at the foot: an answer to the player, a fault, a message, or the path ahead."""
    if answer:
        return (Said(answer, "bold $accent"),)
    if level.state == "lost":
        return (Said("! " + plain(level.words, 200), "bold $doubt"),)
    if view.message:
        message = Said("! " + plain(view.message, 200), "bold $doubt")
        return (message,) if view.mode == "between" else (message, Said(path_text(view, 3), "$faint"))
    return (Said(LEGEND if view.mode == "between" else path_text(view), "$faint"),)


def summary(before: View, after: View) -> str:
    """What a round or a take that has just ended came to; empty when neither did."""
    if before.mode == "take" and before.take is not None:
        return f"{before.take.name} is cut after {shown.clock(before.take.running_s)}; it is in the log."
    if before.mode != "round":
        return ""
    passed = before.downbeat_in_s is not None and before.downbeat_in_s <= 1.0
    opening = "The downbeat is here and the round over" if passed else "The round is over"
    again = " r begins a new one; what was heard is kept." if before.left and not passed else ""
    done = f"{before.needed - before.left} of {before.needed} in tune"
    connections = counted(before.connections, "connection")
    return f"{opening}: {done}, {connections}, {shown.minutes_figure(before.elapsed_s or 0.0)}.{again}"


def heading(view: View) -> str:
    """What is being done; a bottle that gets air while others are heard again is being tuned."""
    if view.phase != "verify" or view.instruction.act in ("wait", "none"):
        return _PHASE[view.phase]
    if view.instruction.act != "strike":
        return _PHASE["visits"]
    here = next((b for b in view.bottles if b.id == view.instruction.bottle), None)
    return _PHASE["listen" if here is not None and here.standing == "unheard" else "verify"]


def downbeat_fact(in_s: float) -> Fact:
    """`downbeat in 7:40`, `downbeat was 2:02 ago`."""
    if in_s < 0:
        return Fact("downbeat was", f"{shown.clock(-in_s)} ago", loud=True, warn=True)
    return Fact("downbeat in", shown.clock(in_s), loud=True)


def round_strip(view: View, level: Level) -> StripModel:
    """The heading of a round and its numbers."""
    facts = []
    if view.downbeat_in_s is not None:
        facts.append(downbeat_fact(view.downbeat_in_s))
    facts.append(Fact("to do", f"{view.left} of {view.needed}", loud=True))
    facts.append(Fact("connections", str(view.connections)))
    if view.seconds_left is not None and view.left:
        facts.append(Fact("work", shown.minutes_figure(view.seconds_left)))
    if view.shift_cents:
        saves = f", saves {view.shift_saves}" if view.shift_saves > 0 else ""
        facts.append(Fact("A4", f"{signed_cents(view.shift_cents)} cents{saves}"))
    return StripModel(heading(view), (*facts, *_weather(view), *_sound(level)))


def _weather(view: View) -> tuple[Fact, ...]:
    return () if view.temp_c is None else (Fact("", f"{round(view.temp_c, 1):g} °C"),)


def _sound(level: Level) -> tuple[Fact, ...]:
    words = {"listening": "listening", "starting": "mic starting", "lost": "NO SOUND", "off": "mic off"}
    return (Fact("", words[level.state], warn=level.state == "lost"),)


def downbeat(view: View) -> ClockModel:
    """The large clock beside the reading on a wide screen."""
    left = "" if view.seconds_left is None else f"{shown.minutes_figure(view.seconds_left)} of work left; "
    if view.downbeat_in_s is None:
        return ClockModel(f"{left}since it began", shown.clock(view.elapsed_s or 0.0))
    late = view.downbeat_in_s < 0
    words = "since the downbeat" if late else "downbeat in"
    return ClockModel(f"{left}{words}", shown.clock(abs(view.downbeat_in_s)), late)


def due(view: View) -> ClockModel:
    """The countdown to the next round."""
    if view.due.overdue:
        return ClockModel("the next round is", "DUE", warn=True)
    if view.due.due_s is None:
        return ClockModel("next round", "?")
    return ClockModel("next round due in", shown.clock(view.due.due_s))


def between_strip(view: View, level: Level) -> StripModel:
    """The heading between rounds."""
    facts = []
    if view.downbeat_in_s is not None:
        facts.append(downbeat_fact(view.downbeat_in_s))
    out = sum(b.standing in ("sharp", "flat") and b.needed for b in view.bottles)
    facts.append(Fact("out", str(out), loud=bool(out)))
    standings: tuple[Standing, ...] = ("doubtful", "unheard", "skipped")
    for standing in standings:
        count = sum(b.standing == standing and b.needed for b in view.bottles)
        if count or standing == "doubtful":
            facts.append(Fact(shown.WORD[standing], str(count)))
    return StripModel("BETWEEN ROUNDS", (*facts, *_weather(view), *_sound(level)))


_OUT = ("sharp", "flat", "doubtful", "unheard")


def reasons(view: View) -> tuple[Said, ...]:
    """Why the round is due then, and what would be done first."""
    ahead = first_ones(view)
    skipped = [plain(b.id, 8) for b in view.bottles if b.standing == "skipped"]
    names = " ".join(f"{plain(b.id, 8)}{shown.SIGN[b.standing]}" for b in ahead[:_FIRST_SHOWN])
    more = f" and {len(ahead) - _FIRST_SHOWN} more" if len(ahead) > _FIRST_SHOWN else ""
    temp = "" if view.temp_c is not None else "No temperature yet: c tells it, and the forecast gets better."
    return (
        Said(shown.sentence(plain(view.due.reason, 240)), "bold"),
        Said(f"First: {names}{more}" if names else shown.nobody_first(view.due.overdue), ""),
        Said(f"Skipped, not due: {in_words(skipped, 3)}." if skipped else "", ""),
        Said(temp, "$faint"),
    )


def first_ones(view: View) -> list[BottleView]:
    """Bottles that would be done first: the path where there is one, else those soonest or already out."""
    ahead = list(path(view))
    if ahead:
        return ahead
    out = [b for b in view.bottles if b.needed and b.standing in _OUT]
    return sorted(out, key=lambda b: (b.leaves_min is None, b.leaves_min or 0.0))


def still(view: View) -> StillModel:
    """The take: its name, and what was expected when it began."""
    take = view.take
    if take is None:
        return StillModel("", "")
    worst, out = "", ", ".join(plain(b, 8) for b in take.likely_out)
    if take.worst_cents is not None:
        worst = f"Worst expected: {plain(take.worst_bottle or '', 8)} {signed_cents(take.worst_cents)} cents."
    return StillModel(plain(take.name, 60), " ".join(filter(None, (worst, out and f"Likely out: {out}."))))


def chosen(view: View, bottle_id: str) -> str:
    """What is known of a bottle that was clicked."""
    bottle = next((b for b in view.bottles if b.id == bottle_id), None)
    if bottle is None:
        return ""
    parts = [f"{plain(bottle.id, 8)} {shown.WORD[bottle.standing]}"]
    if bottle.cents is not None:
        parts.append(f"{signed_cents(bottle.cents)} cents")
    if bottle.leaves_min is not None:
        parts.append(f"leaves in {bottle.leaves_min:.0f} min")
    return plain(": ".join(filter(None, (", ".join(parts), bottle.reason))), 240)
