"""No test of the screens depends on the colours or the place of the machine it runs on."""

from __future__ import annotations

import pytest


@pytest.fixture(autouse=True)
def _plain_surroundings(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("NO_COLOR", "TEXTUAL", "TEXTUAL_FILTERS", "TEXTUAL_THEME"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("COLORTERM", "truecolor")
