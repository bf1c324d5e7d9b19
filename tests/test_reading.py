"""What is heard has one type and one table of verdicts, and neither can be left behind by a new verdict."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from rounds.events import VERDICTS, Verdict
from rounds.hearing.beside import of_two
from rounds.hearing.reading import ADVICE, Reading
from rounds.hearing.spectrum import spectrum
from rounds.recognising.recognition import MOST_U95_CENTS, capped
from rounds.wording.shown import VERDICT_WORD


def test_every_verdict_has_advice_and_a_word() -> None:
    assert sorted(ADVICE) == sorted(VERDICT_WORD) == sorted(VERDICTS)
    assert [v for v in VERDICTS if not ADVICE[v]] == ["clear"]
    assert len(set(VERDICT_WORD.values())) == len(VERDICTS)


@pytest.mark.parametrize(("one", "other"), itertools.product(VERDICTS, VERDICTS))
def test_two_readings_of_one_strike_are_judged_whatever_their_verdicts(one: Verdict, other: Verdict) -> None:
    """The silence before and after tells nothing, so of two clear ones neither is believed."""
    silence = spectrum(np.zeros(9600), 48_000)
    found = of_two(Reading(220.0, 1.0, one), Reading(330.0, 1.0, other), None, silence)
    clear = [one, other].count("clear")
    assert found.verdict in ({one, other}, {"clear"}, {"two_ringing"})[clear]


def test_an_uncertainty_beyond_an_octave_says_no_more() -> None:
    assert capped(Reading(220.0, 9999.0, "unclear")).u95_cents == MOST_U95_CENTS
    assert capped(Reading(220.0, 3.0)) == Reading(220.0, 3.0)
    assert capped(Reading(None, None, "quiet")) == Reading(None, None, "quiet")


def test_what_is_not_known_is_not_faint() -> None:
    assert Reading(220.0, 1.0, peak_dbfs=-60.0).fainter_than(-55.0)
    assert not Reading(220.0, 1.0, peak_dbfs=-50.0).fainter_than(-55.0)
    assert not Reading(220.0, 1.0).fainter_than(-55.0)
