"""A few cases of each kind; the hundred thousand are `python -m tests.benchmarks.fuzz`."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from tests.fuzz.screens import Player
from tests.fuzz.targets import Targets

CASES = {"rig": 60, "csv": 60, "midi": 60, "wav": 12, "lines": 120}


@pytest.fixture(scope="module")
def targets(tmp_path_factory: pytest.TempPathFactory) -> Targets:
    return Targets(Path(tmp_path_factory.mktemp("fuzz")))


@pytest.mark.parametrize("name", CASES)
def test_spoiled_input_gets_a_sentence(targets: Targets, name: str) -> None:
    rng = random.Random(f"suite {name}")
    for _ in range(CASES[name]):
        targets.all[name][1](targets.case(name, rng), rng)


@pytest.mark.parametrize("name", CASES)
def test_good_input_is_no_fault_either(targets: Targets, name: str) -> None:
    seeds, run = targets.all[name]
    for data in seeds:
        run(data, random.Random(1))


@pytest.mark.slow
@pytest.mark.parametrize("seed", [2, 3])
async def test_whatever_is_pressed_nothing_breaks_and_nothing_is_lost(tmp_path: Path, seed: int) -> None:
    await Player(tmp_path, seed).plays(60)
