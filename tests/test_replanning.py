"""Replanned after every reading, the path that the player sees does not jump between equal plans."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pytest

from rounds.journal import MemoryJournal
from rounds.planning import RoundPlan, plan_round
from rounds.rigs.rigfile import load_rig
from rounds.sessions import replanning
from rounds.sessions.session import Session
from rounds.simulation.player import Player
from rounds.simulation.rehearsal import Step, play_round
from rounds.simulation.world import World

RIG = Path(__file__).parent.parent / "configs" / "one_rail.toml"


def jumps(plans: list[RoundPlan]) -> int:
    """How often bottles in two plans that follow each other stand in another order."""
    found = 0
    for one, other in itertools.pairwise([v.bottle for v in p.visits] for p in plans):
        found += [b for b in one if b in other] != [b for b in other if b in one]
    return found


def played(seed: int) -> tuple[list[RoundPlan], list[RoundPlan]]:
    """The plans of a round as the session made them, and as they would be made afresh each time."""
    rig = load_rig(RIG)
    world = World(rig, np.random.default_rng(seed), start_s=1.7e9)
    world.tuned(25.0)
    session = Session(rig, MemoryJournal(), world.now_s)
    kept: list[RoundPlan] = []
    fresh: list[RoundPlan] = []

    def watch(_: Step) -> None:
        if session.round is not None:
            kept.append(session.plan())
            asked = replanning.asked_of(rig, session.round, world.now_s)
            fresh.append(plan_round(rig, session.beliefs, asked))

    play_round(session, world, Player(world), downbeat_s=world.now_s + 900.0, watch=watch)
    return kept, fresh


@pytest.mark.slow
def test_the_path_does_not_jump_between_equal_plans() -> None:
    """One pump and time to spare: whole rounds without a jump, where plans made afresh do jump."""
    rounds = [played(seed) for seed in range(3)]
    assert [jumps(kept) for kept, _ in rounds] == [0, 0, 0]
    assert sum(jumps(fresh) for _, fresh in rounds) >= 2


@pytest.mark.slow
def test_the_path_of_one_round_is_not_kept_for_the_next() -> None:
    rig = load_rig(RIG)
    world = World(rig, np.random.default_rng(3), start_s=1.7e9)
    world.tuned(25.0)
    session = Session(rig, MemoryJournal(), world.now_s)
    for _ in range(2):
        play_round(session, world, Player(world))
        world.advance(world.now_s + 3600.0)
    session.open_round(world.now_s)
    assert session.round is not None
    afresh = plan_round(rig, session.beliefs, replanning.asked_of(rig, session.round, world.now_s))
    assert session.plan() == afresh
