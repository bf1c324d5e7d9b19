"""The demo's own journal, to try the other commands on, and the rig that need not be named."""

from __future__ import annotations

import argparse
import json
import time
from typing import TYPE_CHECKING

import pytest

from rounds import cli
from rounds.errors import BadInput, RoundsError
from rounds.journal import Journal, MemoryJournal
from rounds.simulation.demo import DEMO_RIG, kept_in, shipped_rig
from rounds.starting import options

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.slow
def test_a_kept_rehearsal_can_be_asked_like_a_real_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    journal, rig = str(tmp_path / "demo.db"), str(shipped_rig(DEMO_RIG))
    assert cli.main(["demo", "--auto", "--minutes", "10", "--journal", journal]) == 0
    capsys.readouterr()
    assert cli.main(["forecast", "--rig", rig, "--journal", journal, "--at", "0", "--json"]) == 0
    out, err = capsys.readouterr()
    found = [b["at"][0] for b in json.loads(out)["bottles"] if b["at"]]
    assert len(found) > 20
    # It was tuned minutes ago: no hour of drift is put in between, and no clock is wrong.
    assert err == ""
    assert sorted(abs(at["cents"]) for at in found)[len(found) // 2] < 6.0
    with Journal(journal, read_only=True) as kept:
        newest_s = max(event.at_s for _, event in kept.events())
    assert -120.0 < newest_s - time.time() <= 0.0
    assert cli.main(["health", "--rig", rig, "--journal", journal]) == 0


def test_an_invented_day_goes_into_no_journal_that_is_there(tmp_path: Path) -> None:
    path = tmp_path / "real.db"
    path.write_bytes(b"")
    with pytest.raises(RoundsError, match="new file only"), kept_in(str(path), time.time):
        pass
    with kept_in(None, time.time) as log:
        assert isinstance(log, MemoryJournal)


class TestUsualRig:
    def parse(self, *words: str) -> argparse.Namespace:
        parser = argparse.ArgumentParser()
        options.add_rig(parser)
        return parser.parse_args(words)

    def test_the_environment_may_name_it(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setenv(options.RIG_VARIABLE, "mine.toml")
        assert self.parse().rig == "mine.toml"
        assert self.parse("--rig", "other.toml").rig == "other.toml"

    def test_without_it_the_rig_must_be_said(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.delenv(options.RIG_VARIABLE, raising=False)
        with pytest.raises(BadInput, match="no rig is named"):
            options.load(self.parse())


def test_a_demo_of_empty_bottles_pumps_before_it_strikes(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["demo", "--auto", "--empty", "--minutes", "1"]) == 0
    first = capsys.readouterr().err.splitlines()[0]
    assert "pump" in first
