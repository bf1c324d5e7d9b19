"""The foreign worlds are what they say, and share nothing with the worlds and beliefs they judge."""

from __future__ import annotations

import ast
from pathlib import Path

import numpy as np
import pytest

from rounds.journal import MemoryJournal
from rounds.sessions.session import Session
from tests.worlds import foreign_b, foreign_c
from tests.worlds.player import VirtualPlayer

WORLDS = Path(__file__).parent / "worlds"
NOT_SHARED = ("belief", "air", "simulation", "drift", "pressure", "planning")
GROUP_LOSS = {"C3": (3.0, 0.25), "C5": (1.5, 0.25), "G6": (3.0, 0.25)}


@pytest.mark.parametrize("path", sorted(WORLDS.glob("*.py")), ids=lambda p: p.name)
def test_they_import_nothing_they_judge(path: Path) -> None:
    names = [
        node.module or ""
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.ImportFrom)
    ]
    parts = {part for name in names if name.startswith("rounds") for part in name.split(".")}
    assert not parts & set(NOT_SHARED)


def test_a_seed_is_a_world() -> None:
    one, two, other = (foreign_b.make(seed).all_cents() for seed in (1, 1, 2))
    assert np.array_equal(one, two)
    assert not np.array_equal(one, other)


@pytest.mark.parametrize("bottle", GROUP_LOSS)
def test_b_loses_at_the_head_what_it_says(bottle: str) -> None:
    losses = []
    for seed in range(12):
        world = foreign_b.make(seed, 44, steady=True)
        before = world.cents(bottle)
        world.head_on(bottle)
        world.head_off()
        losses.append(before - world.cents(bottle))
    mean, _ = GROUP_LOSS[bottle]
    # the overshoot of a quick change makes it look up to 1/(1 - 0.28) larger at once
    assert mean * 0.9 < float(np.mean(losses)) < mean * 1.5


@pytest.mark.parametrize(("module", "low", "high"), [(foreign_b, 0.10, 0.28), (foreign_c, 0.10, 0.45)])
def test_settling_is_within_its_range(module: object, low: float, high: float) -> None:
    world = module.make(3, 44)  # type: ignore[attr-defined]
    world.drawn.leak_per_min[:] = world.drawn.walk_cents[:] = 0.0
    world.drawn.sudden_per_min[:] = world.drawn.seat_per_min[:] = world.drawn.on_cents[:] = 0.0
    world.drawn.lag_s[:] = 1e12
    for bottle in ("C3", "C5", "D#6"):
        world.put(bottle, -30.0)
        before = world.cents(bottle)
        world.head_on(bottle)
        world.pump(0.3)
        jump = world.cents(bottle) - before
        world.advance(world.now_s + 6000.0)
        assert low - 0.02 < 1.0 - (world.cents(bottle) - before) / jump < high + 0.02
        world.head = None


def test_starts_are_what_they_are_called() -> None:
    tuned, low, empty = (foreign_b.make(5, start=start) for start in ("tuned", "low", "empty"))
    assert np.abs(tuned.all_cents()).max() < 15.0
    shares = low.all_gauge_kpa() / low.all_target_kpa()
    assert 0.39 < shares.min() < shares.max() < 0.81
    assert np.abs(empty.all_gauge_kpa()).max() < 1e-6


def test_c_has_notes_beyond_the_ceiling_and_b_has_none() -> None:
    ceiling_kpa = foreign_b.make(0).rig.bottles[0].ceiling_kpa
    beyond = [bool((foreign_c.make(s).all_target_kpa() > ceiling_kpa).any()) for s in range(6)]
    assert any(beyond)
    assert not any((foreign_b.make(s).all_target_kpa() > ceiling_kpa).any() for s in range(6))
    assert not any((foreign_c.make(s, reachable=True).all_target_kpa() > ceiling_kpa).any() for s in range(6))


@pytest.mark.parametrize(("seed", "least"), [(7, 5), (9, 6)])
def test_a_player_plays_a_touch_up_by_what_is_said(seed: int, least: int) -> None:
    """All six is what is aimed at; in the first world the pin takes less of G6 than was believed."""
    world = foreign_b.make(seed, bottles=6, needed=6)
    world.advance(world.now_s + 1800.0)
    played = VirtualPlayer(world).play(Session(world.rig, MemoryJournal(), world.now_s))
    assert played.finished
    assert played.needed == 6
    assert played.in_tune >= least
    assert abs(played.worst_cents) <= 15.0 + world.ear.sd_cents, "in tune as far as this ear can tell"
    assert played.strikes >= 6
    assert played.minutes * 60.0 == pytest.approx(sum(played.seconds.values()))
    assert played.highest_share < 1.0
