"""The cautions are one set of words, and all that issue and page ask for is in them."""

from __future__ import annotations

from pathlib import Path

import pytest

from rounds.air import DEFAULT_CEILING_KPA, psi_to_kpa
from rounds.faces import cautions

PAGE = (Path(__file__).parents[1] / "docs" / "safety.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("caution", cautions.CAUTIONS, ids=lambda c: c.rule)
def test_page_has_the_very_words(caution: cautions.Caution) -> None:
    assert f"- **{caution.rule}** {caution.text}\n" in PAGE


def test_ceiling_in_words_is_the_ceiling_in_force() -> None:
    assert psi_to_kpa(cautions.CEILING_PSI) == pytest.approx(DEFAULT_CEILING_KPA)
    assert cautions.CAUTION_PSI < cautions.CEILING_PSI


@pytest.mark.parametrize(
    "subject",
    [
        "eye protection",
        "never lean over a cap",
        "ceiling",
        "warped",
        "crazed",
        "caps",
        "before transport",
        "heat",
        "hearing",
        "venue",
        "local rules",
        "competent person",
        "not pressure vessels",
        "from memory",
    ],
)
def test_subject_is_there(subject: str) -> None:
    assert subject in " ".join(cautions.sentences("F2")).casefold()


def test_nothing_is_promised() -> None:
    text = " ".join(cautions.sentences("F2")).casefold()
    for promise in ("is safe", "are safe", "safely", "guaranteed"):
        assert promise not in text
