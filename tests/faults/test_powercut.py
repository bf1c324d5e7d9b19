"""A power cut, in a model of the harshest disk; the thousands are `python -m tests.benchmarks.powercut`."""

from __future__ import annotations

import random
import shutil
import subprocess

import pytest

from tests.benchmarks.powercut import run
from tests.faults.powercut import Call, Disk


def traceable() -> bool:
    """Whether strace is there and may watch a process."""
    strace = shutil.which("strace")
    return (
        strace is not None
        and subprocess.run([strace, "-o", "/dev/null", "true"], check=False).returncode == 0
    )


@pytest.mark.skipif(not traceable(), reason="strace is not installed or may not watch processes here")
def test_what_was_acknowledged_survives_a_power_cut_and_the_test_could_see_a_loss() -> None:
    assert set(run(60, 60, 1)) == {"whole"}
    assert run(60, 40, 1, "normal")["lost acknowledged events"] > 0


def test_the_model_keeps_what_was_synced_and_may_lose_or_tear_the_rest() -> None:
    disk = Disk()
    for call in (Call("make", "a"), Call("write", "a", 0, b"x" * 1024), Call("sync", "a"), Call("sync", "")):
        disk.take(call)
    disk.take(Call("write", "a", 0, b"y" * 1024))
    found = {disk.files["a"].after_a_cut(random.Random(seed)) for seed in range(60)}
    halves = {(a + b).encode() for a in ("x" * 512, "y" * 512) for b in ("x" * 512, "y" * 512)}
    assert found == halves
