"""From a `View` to what each widget paints. No rule is made here: only which field goes where."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rounds.faces.view import outcome, sign, work_words
from rounds.tui.widgets.airline import AirModel
from rounds.tui.widgets.following import FollowingModel
from rounds.tui.widgets.lines import Said
from rounds.tui.widgets.pair import MARKS
from rounds.tui.widgets.rails import RailsModel
from rounds.tui.widgets.reading import ReadingModel
from rounds.tui.widgets.ribbons import LEGEND
from rounds.tui.widgets.slab import SlabModel, drawable
from rounds.tui.widgets.stillness import StillModel
from rounds.tui.widgets.strip import Fact, StripModel
from rounds.wording import shown
from rounds.wording.printable import plain
from rounds.wording.words import counted, eighths, in_words, signed_cents, strokes_phrase, whole_cents

if TYPE_CHECKING:
    from collections.abc import Callable

    from rounds.faces.controller import Level, SoundState
    from rounds.faces.view import BottleView, View
    from rounds.instruction import Act

_PHASE = {"listen": "LISTEN", "visits": "TUNE", "verify": "HEAR AGAIN", "done": "DONE", "none": "ROUND"}
_DOES: dict[Act, str] = {
    "strike": "STRIKE",
    "connect": "PUMP",
    "add": "PUMP",
    "release": "LET OUT",
    "disconnect": "HEAD OFF",
    "gauge": "GAUGE",
    "wait": "WAIT",
    "none": "WAIT",
}
"""What one of two people does, for the strip."""
LET_IT_RING = "LET IT RING"
"""Stands large while a strike is measured: a second strike now would spoil the first."""
NO_MICROPHONE = "NO MICROPHONE"
_PATH_SHOWN = 8
BOLD_FROM_S = 120.0
"""So long before the downbeat its clock is painted bold."""


def slab(view: View, level: Level | None = None, typed: str = "") -> SlabModel:
    """The instruction, large, or that no microphone is there. `typed`: the digits of a gauge so far."""
    told, heard = view.instruction, view.reading
    if level is not None and level.state == "lost" and told.act == "strike":
        return SlabModel("gauge", "", NO_MICROPHONE)
    if view.next_in_s is not None:
        return SlabModel("wait", "", f"NEXT IN {shown.clock(view.next_in_s)}")
    if view.maybe_swapped is not None:
        return SlabModel("gauge", "", f"{' OR '.join(drawable(plain(b, 4)) for b in view.maybe_swapped)}?")
    if told.act == "gauge" and typed:
        return SlabModel("gauge", plain(told.bottle or "", 8), typed)
    measuring = heard is not None and not heard.final and heard.bottle == told.bottle
    order = LET_IT_RING if measuring else plain(shown.order(told), 40)
    return SlabModel(
        told.act, plain(told.bottle or "", 8), order, None if measuring else told.strokes or None
    )


def reading(view: View, keyed: Callable[[str], str] = str) -> ReadingModel:
    """The newest strike and the air it asks for."""
    heard = view.reading
    if view.phase == "done" and view.instruction.act == "none":
        return ReadingModel(None, advice=keyed(ending(view)))
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
    return f"It ends {by_itself}, or with {{end_round}}; {{take}} then begins a take."


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
        strokes = strokes_phrase(told.strokes)
        return f"wants {strokes}" if told.strokes > 0 else f"{strokes} {way}"
    if told.act == "disconnect":
        return "no more air now"
    return plain(heard.advice if told.act == "strike" else told.why, 80)


def air(view: View) -> AirModel:
    """The strokes to make."""
    told = view.instruction
    way = shown.air_way(told)
    count = eighths(told.strokes) if way and told.strokes else 0
    return AirModel(count, way)


def rails(view: View) -> RailsModel:
    """Every bottle with its place and whether it is in tune."""
    return RailsModel(view.bottles, view.instruction.bottle, view.pump_on)


def following(view: View) -> FollowingModel:
    """The next bottle of the path, and the clock."""
    ahead = [b for b in view.path if b.id != view.instruction.bottle]
    label, figures, loud = _clock(view)
    if view.people or not ahead:
        return FollowingModel("", "", "", label, figures, loud)
    bottle = ahead[0]
    strike = bottle.state in ("unheard", "unsure", "holds", "fades")
    wants = f"{sign(bottle)[:3]} {'strike it' if strike else work_words(bottle)}"
    return FollowingModel(plain(bottle.id, 8), wants, place_text(view, bottle), label, figures, loud)


def _clock(view: View) -> tuple[str, str, bool]:
    if view.downbeat_in_s is None:
        return "since it began", shown.clock(view.elapsed_s or 0.0), False
    if view.downbeat_in_s < 0:
        return "late by", shown.clock(-view.downbeat_in_s), True
    return "downbeat in", shown.clock(view.downbeat_in_s), view.downbeat_in_s <= BOLD_FROM_S


def place_text(view: View, bottle: BottleView) -> str:
    """`rail 2, 3 to the right`: where a bottle hangs, from the one in hand where that is on its rail."""
    on_rail = [b.id for b in sorted(view.bottles, key=lambda b: b.position_cm) if b.rail == bottle.rail]
    if view.instruction.bottle in on_rail:
        steps = on_rail.index(bottle.id) - on_rail.index(view.instruction.bottle)
        return f"rail {bottle.rail}, {abs(steps)} to the {'right' if steps > 0 else 'left'}"
    place = on_rail.index(bottle.id)
    end = {0: ", left end", len(on_rail) - 1: ", right end"}.get(place, f", {place + 1} from the left")
    return f"rail {bottle.rail}{end}"


def path_text(view: View, most: int = _PATH_SHOWN) -> str:
    """`then C4 ▕▄▏1  G3 ▔  and 4 more`: what comes after the bottle in hand, of two people by their marks."""
    paths = [_after(view, i, max(2, most // 2)) for i in range(len(view.people))]
    if view.people:
        return "   ".join(f"{MARKS[i]} {text}" for i, text in enumerate(paths) if text)
    return _after(view, None, most)


def _after(view: View, person: int | None, most: int) -> str:
    """The path of a person behind the bottle in hand."""
    own = view.instruction if person is None else view.people[person].instruction
    ahead = [b for b in view.path if b.person == person and b.id != own.bottle]
    if not ahead:
        return ""
    names = "  ".join(f"{plain(b.id, 8)} {sign(b)}" for b in ahead[:most])
    more = len(ahead) - most
    return f"then  {names}" + (f"  and {more} more" if more > 0 else "")


def why(view: View, level: Level | None = None, keyed: Callable[[str], str] = str) -> tuple[Said, ...]:
    """The sentences under the slab: what to do in full, then why."""
    told = view.instruction
    if level is not None and level.state == "lost" and told.act == "strike":
        words = shown.sentence(plain(level.words, 200))
        return (
            Said(words, "bold"),
            Said(keyed("The round waits, then goes on by itself. {sound}: sound check."), "bold"),
        )
    if view.maybe_swapped is not None:
        one, other = (plain(b, 8) for b in view.maybe_swapped)
        asked = f"{one} and {other}: each sounds like the other's note."
        return (
            Said(asked, "bold"),
            Said(keyed("{offer}: yes, swapped. {not_swapped}: no, tune them as they hang."), "bold"),
        )
    if told.act == "gauge":
        how = keyed("Type what it reads, then {offer}. {no_gauge}: no gauge here.")
        return (Said(how, "bold"), Said(shown.sentence(plain(told.why, 240)), "bold"))
    parts = (shown.sentence(plain(text, 240)) for text in (told.detail, told.why))
    return tuple(Said(part, "bold") for part in parts if part)


def caution(view: View) -> tuple[Said, ...]:
    """What to mind where air goes in, unless it was said as the reason already."""
    told = view.instruction
    text = "" if told.caution == told.why else plain(told.caution or "", 240)
    return (Said(f"! {text}" if text else "", "$loud"),)


def said(view: View, level: Level, answer: str) -> tuple[Said, ...]:
    """The one line at the foot: an answer to the player, a fault, a message, or the path ahead."""
    if answer:
        return (Said(answer, "bold $accent"),)
    if level.state == "lost" and view.instruction.act != "strike":
        return (Said("! " + plain(level.words, 200), "bold $loud"),)
    if view.message:
        return (Said("! " + plain(view.message, 200), "bold $loud"),)
    return (Said(LEGEND if view.mode == "between" else path_text(view), "$faint"),)


def summary(before: View, after: View) -> str:
    """What a round or a take that has just ended came to; empty when neither did."""
    if before.mode == "take" and before.take is not None:
        return f"{before.take.name} is cut after {shown.clock(before.take.running_s)}; it is in the log."
    if before.mode != "round":
        return ""
    passed = before.downbeat_in_s is not None and before.downbeat_in_s <= 1.0
    again = " {open_round} starts another; what was heard is kept." if before.left and not passed else ""
    connections = counted(before.connections, "connection")
    came = f"{shown.minutes_figure(before.elapsed_s or 0.0)}, {connections}"
    return f"{'Downbeat' if passed else 'Round over'}. {_outcome(before, after)} {came}.{again}"


def _outcome(before: View, after: View) -> str:
    """What plays of the pieces that were named, else how many bottles hold."""
    partly = [p.sentence() for p in after.playable if after.pieces and not p.whole]
    if partly:
        return " ".join(shown.sentence(text) for text in partly)
    hold = before.needed - before.left
    return f"All {hold} hold." if not before.left else f"{hold} of {before.needed} hold."


def heading(view: View) -> str:
    """What is being done; a bottle that gets air while others are heard again is being tuned.

    Of two people, what each does: one may listen while the other pumps.
    """
    if view.people:
        return "  ".join(f"{MARKS[i]} {_DOES[p.instruction.act]}" for i, p in enumerate(view.people))
    if view.phase != "verify" or view.instruction.act in ("wait", "none"):
        return _PHASE[view.phase]
    if view.instruction.act != "strike":
        return _PHASE["visits"]
    here = next((b for b in view.bottles if b.id == view.instruction.bottle), None)
    return _PHASE["listen" if here is not None and here.state == "unheard" else "verify"]


def downbeat_fact(in_s: float) -> Fact:
    """`downbeat in 7:40`, `downbeat was 2:02 ago`."""
    if in_s < 0:
        return Fact("downbeat was", f"{shown.clock(-in_s)} ago", loud=True, warn=True)
    return Fact("downbeat in", shown.clock(in_s), loud=True)


def round_strip(view: View, level: Level) -> StripModel:
    """The heading of a round and its numbers."""
    facts = [Fact("", tally_text(view), loud=True)]
    if view.seconds_left is not None and view.tally.to_do:
        facts.append(Fact("work", shown.minutes_figure(view.seconds_left)))
    if view.shift_cents:
        saves = f", saves {view.shift_saves}" if view.shift_saves > 0 else ""
        facts.insert(1, Fact("reference", f"{view.reference_hz:.1f} Hz{saves}"))
    facts.append(Fact("connections", str(view.connections)))
    return StripModel(heading(view), (*facts[:3], *weather_facts(view), *sound_facts(level), *facts[3:]))


def tally_text(view: View) -> str:
    """`34 bottles = 9 hold + 17 to do + 8 left out`; groups of none are dropped."""
    count = view.tally
    groups = (
        (count.hold, "hold"),
        (count.to_do, "to do"),
        (count.fade, "fade"),
        (count.out, "out"),
        (count.unheard, "unheard"),
        (count.left_out, "left out"),
        (count.set_aside, "set aside"),
    )
    parts = " + ".join(f"{number} {word}" for number, word in groups if number)
    return f"{counted(count.everything, 'bottle')} = {parts}" if parts else "no bottle is needed"


def weather_facts(view: View) -> tuple[Fact, ...]:
    """The air temperature, where it is known."""
    return () if view.temp_c is None else (Fact("", f"{round(view.temp_c, 1):g} °C"),)


_MIC: dict[SoundState, str] = {
    "listening": "mic on",
    "starting": "mic starting",
    "lost": "NO MIC",
    "off": "mic off",
    "shut": "mic shut",
}


def sound_facts(level: Level) -> tuple[Fact, ...]:
    """How the microphone is."""
    return (Fact("", _MIC[level.state], warn=level.state == "lost"),)


def still(view: View) -> StillModel:
    """The take: its name, and in a few words whether all held when it began."""
    take = view.take
    if take is None:
        return StillModel("", "")
    out = [plain(b, 8) for b in take.likely_out]
    return StillModel(
        plain(take.name, 60), f"{in_words(out, 3)} may be out" if out else "all held at the start"
    )


def chosen(view: View, bottle_id: str) -> str:
    """What is known of a bottle that was clicked."""
    bottle = next((b for b in view.bottles if b.id == bottle_id), None)
    if bottle is None:
        return ""
    parts = [f"{plain(bottle.id, 8)} {work_words(bottle)}"]
    if bottle.cents is not None:
        parts.append(f"{signed_cents(bottle.cents)} cents")
    if bottle.leaves_min is not None:
        parts.append(f"leaves in {bottle.leaves_min:.0f} min")
    return plain(": ".join(filter(None, (", ".join(parts), bottle.reason))), 240)
