"""Play a whole round on the virtual rig through the real session, with no key pressed.

What counts in the end is the truth of the world, not what the tool believes: `RoundResult.in_tune`
asks the world.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.simulation.ears import QuickEar, SoundingEar

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from rounds.hearing.reading import Reading
    from rounds.instruction import Instruction
    from rounds.sessions.session import Session
    from rounds.simulation.ears import SimulatedEar
    from rounds.simulation.player import Player, PlayerAction
    from rounds.simulation.world import World

LONGEST_ROUND_MIN = 90.0
TOLD_APART_S = 0.6
"""From the strike until its reading is there and read."""


@dataclass(frozen=True)
class RoundResult:
    """One round as it really went."""

    minutes: float
    connections: int
    strikes: int
    not_clear: int
    """Strikes that had to be repeated, or were another bottle's."""
    rounds: int
    in_tune: int
    needed: int
    worst_cents: float
    worst_bottle: str | None
    finished: bool
    """Whether the round came to its end by itself within the time."""
    highest_share: float
    """The highest pressure of any bottle as a share of its ceiling."""
    astray: int = 0
    """Readings that were believed of a bottle that was not struck: its own neighbour was, by mistake."""
    mixed_up: int = 0
    """Of these, readings of one person's strike that were believed to be the other's."""


@dataclass(frozen=True)
class Step:
    """One act of the player and what was heard of it, for whoever watches."""

    instruction: Instruction
    action: PlayerAction
    sounded: Reading | None
    verdict: str | None
    bottle: str | None
    cents: float | None
    person: int = 0


def play_round(
    session: Session,
    world: World,
    player: Player,
    *,
    sound: bool = False,
    ear: SimulatedEar | None = None,
    downbeat_s: float | None = None,
    pieces: Sequence[str] = (),
    with_temp: bool = True,
    longest_min: float = LONGEST_ROUND_MIN,
    watch: Callable[[Step], None] | None = None,
) -> RoundResult:
    """Open a round, do what is said until there is nothing left to do, and close it.

    `sound` sends every strike as sound through the real hearing. A round that is open already is
    played on.
    """
    ear = ear or (SoundingEar(world) if sound else QuickEar(world))
    started_s = world.now_s
    before = player.connections, player.strikes
    player.tell = lambda bottle, psi: session.gauge(psi, world.now_s, bottle)
    if session.round is None:
        temp_c = read_off(world) if with_temp else None
        session.open_round(world.now_s, downbeat_s=downbeat_s, temp_c=temp_c, pieces=pieces)
    not_clear, astray = _work(session, world, player, ear, started_s + 60.0 * longest_min, watch)
    finished = is_over(session)
    minutes = (world.now_s - started_s) / 60.0
    session.close_round(world.now_s)
    return judged(
        session,
        world,
        minutes=minutes,
        connections=player.connections - before[0],
        strikes=player.strikes - before[1],
        not_clear=not_clear,
        finished=finished,
        astray=astray,
    )


def _work(
    session: Session,
    world: World,
    player: Player,
    ear: SimulatedEar,
    until_s: float,
    watch: Callable[[Step], None] | None,
) -> tuple[int, int]:
    """Act, strike and be heard until the round is over; how many strikes were not clear, or went astray."""
    not_clear = astray = 0
    again = False
    while not is_over(session) and world.now_s < until_s:
        step = one_step(session, world, player, ear, again=again)
        again = step.sounded is not None and step.verdict != "clear"
        again = again or (step.action.struck is not None and step.sounded is None)
        not_clear += again
        astray += step.bottle is not None and step.bottle != step.action.struck
        if watch is not None:
            watch(step)
    return not_clear, astray


def one_step(
    session: Session, world: World, player: Player, ear: SimulatedEar, *, again: bool = False
) -> Step:
    """One instruction followed, one strike heard."""
    session.tick(world.now_s)
    instruction = session.instruction
    listening = session.listening()
    action = player.act(instruction, again=again, pedal=True)
    if action.confirmed:
        session.done(world.now_s)
        return Step(instruction, action, None, None, None, None)
    sounded = ear.hear(action, listening)
    world.advance(world.now_s + TOLD_APART_S)
    if sounded is None:
        return Step(instruction, action, None, None, None, None)
    event = session.strike(world.now_s, sounded)
    if event is None:
        return Step(instruction, action, sounded, None, None, None)
    return Step(instruction, action, sounded, event.verdict, event.bottle, event.cents)


def is_over(session: Session) -> bool:
    """Whether nobody has anything to do any more."""
    return session.round is None or all(i.act == "none" and i.bottle is None for i in session.instructions)


def read_off(world: World) -> float:
    """The air temperature as it is read off a thermometer: to half a degree Celsius."""
    return round(world.temp_c * 2.0) / 2.0


def judged(
    session: Session,
    world: World,
    *,
    minutes: float,
    connections: int,
    strikes: int,
    not_clear: int,
    finished: bool,
    astray: int,
    mixed_up: int = 0,
) -> RoundResult:
    """A round that was played, judged by the truth of the world."""
    shift = session.day.shift_cents
    off = {b: world.cents(b) - shift for b in session.record.needed}
    worst = max(off, key=lambda b: abs(off[b]), default=None)
    ceilings = [b.ceiling_kpa for b in world.rig.bottles]
    return RoundResult(
        minutes=minutes,
        connections=connections,
        strikes=strikes,
        not_clear=not_clear,
        rounds=session.day.rounds,
        in_tune=sum(abs(c) <= world.rig.bottle(b).tolerance_cents for b, c in off.items()),
        needed=len(off),
        worst_cents=0.0 if worst is None else off[worst],
        worst_bottle=worst,
        finished=finished,
        highest_share=float(max(world.peak_gauge_kpa / ceilings)),
        astray=astray,
        mixed_up=mixed_up,
    )
