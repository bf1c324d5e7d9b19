"""Whether an open round is the one asked for."""

from __future__ import annotations

import pytest

from rounds.events import RoundOpened
from rounds.faces.controller import RoundRequest
from rounds.faces.opening import is_asked_for

NOON_S = 1.8e9
OPENED = RoundOpened(
    at_s=NOON_S - 60.0,
    round_id="r1",
    downbeat_s=NOON_S + 840.0,
    block_s=1800.0,
    needed={"C4": 1.0},
    pieces=("Lantern Walk",),
)


@pytest.mark.parametrize(
    ("request_", "same"),
    [
        (RoundRequest(), True),
        (RoundRequest(downbeat_in_s=840.0, block_s=1800.0, pieces=("Lantern Walk",), temp_c=30.0), True),
        (RoundRequest(downbeat_in_s=800.0), True),
        (RoundRequest(people=1), True),
        (RoundRequest(people=2), False),
        (RoundRequest(downbeat_in_s=2000.0), False),
        (RoundRequest(block_s=900.0), False),
        (RoundRequest(pieces=("Kettle Song",)), False),
        (RoundRequest(pieces=("Lantern Walk", "Kettle Song")), False),
    ],
)
def test_only_what_is_named_must_agree(request_: RoundRequest, same: bool) -> None:
    assert is_asked_for(OPENED, request_, NOON_S) is same
