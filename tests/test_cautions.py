"""The cautions are one set of words, and all that issue and page ask for is in them."""

from __future__ import annotations

from pathlib import Path

import pytest
from scipy import constants

from rounds.air import DEFAULT_CEILING_KPA, psi_to_kpa
from rounds.faces import cautions

DOCS = Path(__file__).parents[1] / "docs"
PAGE = (DOCS / "safety.md").read_text(encoding="utf-8")


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


def test_the_figures_of_the_page_on_bottles() -> None:
    """Hoop stress p R / h and the gas law on absolute pressure, with the constants of scipy (CODATA)."""
    page = (DOCS / "bottles.md").read_text(encoding="utf-8")
    for psi, mpa in ((60, 76), (80, 101)):
        stress_pa = psi * constants.psi * 0.055 / 0.3e-3
        assert round(stress_pa / 1e6) == mpa
        assert f"{mpa} MPa" in page
    warm_pa = (78 * constants.psi + constants.atm) * (273.15 + 45) / (273.15 + 20) - constants.atm
    assert f"78 psi stands at {warm_pa / constants.psi:.0f} psi at 45 °C" in " ".join(page.split())
