"""Two simulated players at work at once, one microphone: judged by what was really struck, and by sound.

Every strike of these rounds has a truth; a reading believed of a bottle that was not struck is counted.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rounds.hearing.ear import Ear
from rounds.hearing.strike import Expectation
from rounds.journal import MemoryJournal
from rounds.notes import cents
from rounds.rigfile import load_rig
from rounds.session import Session
from rounds.simulation.pair import Mix, Screen
from rounds.simulation.player import Player
from rounds.simulation.rehearsal import RoundResult, play_round
from rounds.simulation.sound import room, room_noise, struck
from rounds.simulation.stage import PairStage
from rounds.simulation.together import play_together
from rounds.simulation.world import World

if TYPE_CHECKING:
    from rounds.rig import Rig

CONFIGS = Path(__file__).parent.parent / "configs"
RATE = 48_000


def shared_rig(*, side_by_side: bool = False) -> Rig:
    """The shipped rig of two pumps; or with each bottle's neighbours on the other pump, so all are near."""
    rig = load_rig(CONFIGS / "three_rails.toml")
    if not side_by_side:
        return rig
    pumps = ("hand", "floor")
    return replace(rig, bottles=tuple(replace(b, pump=pumps[i % 2]) for i, b in enumerate(rig.bottles)))


def play(seed: int, the_rig: Rig, *, fill: bool = False, sound: bool = False) -> RoundResult:
    world = World(the_rig, np.random.default_rng(seed), start_s=1.7e9)
    if fill:
        world.first_fill()
    else:
        world.tuned(12.0)
    session = Session(the_rig, MemoryJournal(), world.now_s)
    return play_together(session, world, [Player(world), Player(world, number=1)], sound=sound)


def alone(seed: int, the_rig: Rig) -> RoundResult:
    world = World(the_rig, np.random.default_rng(seed), start_s=1.7e9)
    world.tuned(12.0)
    return play_round(Session(the_rig, MemoryJournal(), world.now_s), world, Player(world))


@pytest.mark.parametrize("seed", [1, 2])
def test_two_are_quicker_than_one_and_no_reading_goes_astray(seed: int) -> None:
    the_rig = shared_rig(side_by_side=True)
    both, one = play(seed, the_rig), alone(seed, the_rig)
    assert both.finished
    assert both.astray == 0
    assert both.in_tune >= both.needed - 2
    assert both.minutes < 0.75 * one.minutes
    assert both.highest_share < 1.0


def test_a_first_fill_of_neighbours_goes_without_a_wrong_reading() -> None:
    """Every bottle may be anywhere, and the two stand at bottles a semitone or two apart."""
    rig = shared_rig(side_by_side=True)
    few = replace(rig, bottles=rig.bottles[8:18], pieces=())
    result = play(3, few, fill=True)
    assert result.finished
    assert result.astray == 0
    assert result.in_tune >= result.needed - 1


def test_a_round_of_two_through_real_sound() -> None:
    rig = shared_rig(side_by_side=True)
    few = replace(rig, bottles=rig.bottles[4:18], pieces=())
    result = play(4, few, sound=True)
    assert result.finished
    assert result.astray == 0
    assert result.in_tune >= result.needed - 1
    assert result.not_clear < 0.25 * result.strikes


def test_the_stage_lets_two_strike_as_sound() -> None:
    rig = shared_rig()
    world = World(rig, np.random.default_rng(1), start_s=1.7e9)
    session = Session(rig, MemoryJournal(), world.now_s)
    session.open_round(world.now_s, people=2)
    players = [Player(world), Player(world, number=1)]
    stage = PairStage(world, players, Screen(session), speed=1e6)
    heard = 0.0
    for block in stage.blocks():
        heard = max(heard, float(np.max(np.abs(block))))
        if min(p.strikes for p in players) >= 1 and heard > 0.05:
            stage.close()
        assert world.now_s - 1.7e9 < 30.0
    assert all(p.strikes >= 1 for p in players)


class TestTheEar:
    """Synthetic strikes, whose pitch is known, in a synthetic room."""

    LOW_HZ, HIGH_HZ = 262.0, 415.0

    def heard(
        self, *strikes: tuple[float, float, float], low: float = LOW_HZ, high: float = HIGH_HZ
    ) -> list[tuple[str, float]]:
        """Verdict and pitch of each strike given as (at_s, hz, dBFS), both bottles being waited for."""
        rng = np.random.default_rng(8)
        mix = Mix()
        for at_s, hz, dbfs in strikes:
            dry = struck(hz, rng, sample_rate_hz=RATE, duration_s=1.0, ring_s=0.6, loudness_dbfs=dbfs)
            mix.add(room(dry, 16.0, 0.5, rng, sample_rate_hz=RATE), round(at_s * RATE))
        sound = mix.taken(room_noise(round(3.0 * RATE), rng, -66.0, sample_rate_hz=RATE))
        ear = Ear(RATE, Expectation(low, 220.0, beside=Expectation(high, 220.0)), stages=("final",))
        return [(r.verdict, r.hz or 0.0) for r in [*ear.feed(sound), *ear.flush()]]

    @pytest.mark.parametrize("hz", [LOW_HZ, HIGH_HZ])
    def test_either_bottle_is_heard(self, hz: float) -> None:
        [(verdict, heard_hz)] = self.heard((0.6, 1.01 * hz, -12.0))
        assert verdict == "clear"
        assert abs(cents(heard_hz, 1.01 * hz)) < 3.0

    @pytest.mark.parametrize("order", [(LOW_HZ, HIGH_HZ), (HIGH_HZ, LOW_HZ)])
    def test_one_after_the_other_each_is_heard(self, order: tuple[float, float]) -> None:
        found = self.heard((0.6, order[0], -12.0), (1.0, order[1], -12.0))
        assert [v for v, _ in found] == ["clear", "clear"]
        assert [abs(cents(hz, was)) < 5.0 for (_, hz), was in zip(found, order, strict=True)] == [True, True]

    @pytest.mark.parametrize("apart_s", [0.0, 0.01, 0.05, 0.1])
    def test_struck_at_once_neither_is_believed(self, apart_s: float) -> None:
        found = self.heard((0.6, self.LOW_HZ, -12.0), (0.6 + apart_s, self.HIGH_HZ, -12.0))
        assert all(v != "clear" for v, _ in found)

    @pytest.mark.parametrize("apart_s", [0.15, 0.2, 0.25, 0.3])
    @pytest.mark.parametrize("order", [(LOW_HZ, HIGH_HZ), (HIGH_HZ, LOW_HZ)])
    def test_soon_after_each_other_none_is_taken_for_the_other(
        self, apart_s: float, order: tuple[float, float]
    ) -> None:
        found = self.heard((0.6, order[0], -12.0), (0.6 + apart_s, order[1], -12.0))
        for (verdict, hz), was in zip(found, order, strict=False):
            assert verdict != "clear" or abs(cents(hz, was)) < 15.0

    def test_a_partial_of_one_is_not_the_other(self) -> None:
        """Struck again while it rings, with its partial (1.59 times its pitch) just in the other's band."""
        found = self.heard((0.6, self.LOW_HZ, -12.0), (1.1, self.LOW_HZ, -12.0), high=1.59 * self.LOW_HZ)
        assert all(v != "clear" or abs(cents(hz, self.LOW_HZ)) < 15.0 for v, hz in found)

    def test_bottles_a_semitone_apart(self) -> None:
        low, high = 415.0, 440.0
        found = self.heard((0.6, low, -12.0), (1.6, high, -12.0), low=low, high=high)
        assert [v for v, _ in found] == ["clear", "clear"]
        assert [abs(cents(hz, was)) < 5.0 for (_, hz), was in zip(found, (low, high), strict=True)] == [
            True,
            True,
        ]
