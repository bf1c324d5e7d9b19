"""Whole rounds on the virtual rig, no key pressed, judged by what is true in the world."""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rounds.journal import MemoryJournal
from rounds.notes import cents
from rounds.rigs.rigfile import load_rig
from rounds.sessions.session import Session
from rounds.simulation.ears import QuickEar, SoundingEar
from rounds.simulation.player import Hands, Player, PlayerAction
from rounds.simulation.rehearsal import RoundResult, Step, one_step, play_round
from rounds.simulation.world import World

if TYPE_CHECKING:
    from rounds.rig import Rig

CONFIGS = Path(__file__).parent.parent / "configs"

pytestmark = pytest.mark.slow


def rehearse(
    name: str,
    seed: int,
    *,
    fill: bool = False,
    spread_cents: float = 15.0,
    sound: bool = False,
    pieces: tuple[str, ...] = (),
) -> tuple[World, RoundResult, list[Step]]:
    """One round on a shipped rig."""
    rig = load_rig(CONFIGS / f"{name}.toml")
    world = World(rig, np.random.default_rng(seed), start_s=1.7e9)
    if fill:
        world.first_fill()
    else:
        world.tuned(spread_cents)
    steps: list[Step] = []
    session = Session(rig, MemoryJournal(), world.now_s)
    result = play_round(session, world, Player(world), sound=sound, pieces=pieces, watch=steps.append)
    return world, result, steps


@pytest.mark.parametrize("seed", [1, 2])
def test_a_touch_up_round_takes_about_ten_minutes(seed: int) -> None:
    """Common practice, no source: about ten minutes for a rig that is a little out."""
    _, result, _ = rehearse("three_rails", seed)
    assert result.finished
    assert 4.0 < result.minutes < 14.0
    assert result.in_tune >= result.needed - 2
    assert abs(result.worst_cents) < 20.0
    assert result.connections < result.needed
    assert result.highest_share < 1.0


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_first_fill_ends_in_tune_under_every_ceiling(seed: int) -> None:
    _, result, _ = rehearse("one_rail", seed, fill=True)
    assert result.finished
    assert result.in_tune >= result.needed - 2
    assert abs(result.worst_cents) < 25.0
    assert result.highest_share < 1.0


def test_a_first_fill_goes_twice_past_the_bottles_and_not_to_and_fro() -> None:
    """All are filled roughly, all are heard once they have settled, and the second visits go in order."""
    world, result, steps = rehearse("three_rails", 1, fill=True)
    assert result.finished
    assert result.in_tune >= result.needed - 2
    assert result.minutes < 35.0
    assert result.connections <= 2.3 * result.needed
    pumps = [world.rig.bottle(s.action.meant).pump for s in steps if s.instruction.act == "connect"]  # type: ignore[arg-type]
    assert sum(a != b for a, b in itertools.pairwise(pumps)) <= 8


def test_a_round_through_real_sound() -> None:
    """The same session, fed by the ear that the microphone feeds."""
    world, result, steps = rehearse("one_rail", 4, sound=True)
    assert result.finished
    assert result.in_tune >= result.needed - 1
    assert result.not_clear < 0.2 * result.strikes
    assert world.pump_on is None
    assert any(s.sounded is not None and s.sounded.ring_s is not None for s in steps)


def test_only_what_a_piece_needs_is_touched() -> None:
    rig = load_rig(CONFIGS / "three_rails.toml")
    walk = next(p for p in rig.pieces if p.name == "Lantern Walk")
    _, result, steps = rehearse("three_rails", 5, pieces=("Lantern Walk",))
    needed = {b.id for b in rig.bottles if b.note in walk.weights}
    assert result.needed == len(needed)
    assert {s.instruction.bottle for s in steps if s.instruction.bottle} <= needed


def test_strikes_of_a_wrong_bottle_are_seldom_believed() -> None:
    """A player who strikes a neighbour one time in eight must not spoil the round."""
    rig = load_rig(CONFIGS / "one_rail.toml")
    wrong = believed = 0
    for seed in range(12):
        world = World(rig, np.random.default_rng(seed), start_s=1.7e9)
        world.tuned(15.0)
        steps: list[Step] = []
        session = Session(rig, MemoryJournal(), world.now_s)
        result = play_round(session, world, Player(world, Hands(wrong_bottle=0.125)), watch=steps.append)
        assert result.in_tune >= result.needed - 1
        slips = [s for s in steps if s.action.struck not in (None, s.action.meant)]
        wrong += len(slips)
        believed += sum(s.verdict == "clear" and s.bottle == s.action.meant for s in slips)
    assert wrong >= 8
    assert believed <= 0.1 * wrong


def test_the_same_seed_gives_the_same_round() -> None:
    one, two = (rehearse("one_rail", 9)[1] for _ in range(2))
    assert one == two


def test_time_runs_out_without_a_hang() -> None:
    rig = load_rig(CONFIGS / "one_rail.toml")
    world = World(rig, np.random.default_rng(1))
    world.first_fill()
    session = Session(rig, MemoryJournal(), world.now_s)
    result = play_round(session, world, Player(world), longest_min=0.5)
    assert not result.finished
    assert result.minutes < 2.0
    assert session.round is None


def test_a_killed_session_goes_on_where_it_stood() -> None:
    rig = load_rig(CONFIGS / "one_rail.toml")
    world = World(rig, np.random.default_rng(3), start_s=1.7e9)
    world.tuned(20.0)
    log = MemoryJournal()
    session = Session(rig, log, world.now_s)
    session.open_round(world.now_s)
    player, ear = Player(world), QuickEar(world)
    for _ in range(20):
        one_step(session, world, player, ear)
    stood = session.instruction
    again = Session(rig, log, world.now_s)
    assert again.record.resumed
    assert (again.instruction.act, again.instruction.bottle) == (stood.act, stood.bottle)
    assert play_round(again, world, player).finished


@pytest.fixture(scope="module")
def rig() -> Rig:
    return load_rig(CONFIGS / "three_rails.toml")


def test_the_sounding_ear_hears_the_true_pitch(rig: Rig) -> None:
    """Strikes whose true pitch is known, any bottle expected. For how honest u95 is see test_hearing.py."""
    world = World(rig, np.random.default_rng(8))
    session = Session(rig, MemoryJournal(), world.now_s)
    ear = SoundingEar(world)
    errors = []
    for bottle in rig.bottles:
        heard = ear.hear(PlayerAction(0.0, 1.0, bottle.id, bottle.id), session.listening())
        assert heard is not None
        if heard.verdict == "clear" and heard.hz:
            errors.append(abs(cents(heard.hz, world.hz(bottle.id))))
    assert len(errors) > 0.7 * len(rig.bottles)
    assert np.median(errors) < 1.0
    assert np.percentile(errors, 90) < 4.0
    assert np.max(errors) < 15.0
