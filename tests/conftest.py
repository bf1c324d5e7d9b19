"""What every test needs: in this process an error that nobody foresaw fails the test, net or no net."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

import pytest

from rounds import cli

if TYPE_CHECKING:
    from collections.abc import Iterator


def _again(error: Exception) -> int:
    raise error


@pytest.fixture(autouse=True)
def no_net(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Take the net of the command line away, but from the tests of the net itself."""
    hook = threading.excepthook
    if "the_net" not in request.fixturenames:
        monkeypatch.setattr(cli, "_unforeseen", _again)
        monkeypatch.setattr(cli, "keep_those_of_threads", lambda: None)
    yield
    threading.excepthook = hook


@pytest.fixture
def the_net() -> None:
    """A test of the net itself."""
