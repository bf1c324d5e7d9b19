"""Rig files: what is read, what is refused, and that all of it is told at once."""

from __future__ import annotations

import datetime
import itertools
import math
from pathlib import Path
from typing import Any

import pytest
import scipy.constants
import tomli_w
from hypothesis import given
from hypothesis import strategies as st

from rounds.errors import BadRig, RoundsError
from rounds.notes import Note
from rounds.rig import Bottle, Habits, Pump, Reference, Rig
from rounds.rigs.rigfile import load_rig, parse_rig, rig_to_toml, save_rig

CONFIGS = Path(__file__).parent.parent / "configs"

SMALL = """
[rig]
name = "Test"
[[pump]]
id = "floor"
barrel_ml = 160
[[bottle]]
note = "C4"
volume_ml = 1250
"""


def problems(text: str) -> list[str]:
    """The problems of a rig that must have some."""
    with pytest.raises(BadRig) as caught:
        parse_rig(text)
    return caught.value.problems


def rig_or_problems(text: str) -> tuple[Rig | None, list[str]]:
    """The rig, or what is wrong with it; any other exception is a failure of the test."""
    try:
        return parse_rig(text), []
    except BadRig as error:
        return None, error.problems


def test_small_rig_gets_its_defaults() -> None:
    rig = parse_rig(SMALL)
    bottle = rig.bottles[0]
    assert (bottle.id, bottle.pump, bottle.rail, bottle.position_cm) == ("C4", "floor", 1, 0.0)
    assert (bottle.group, bottle.tolerance_cents, rig.reference) == ("middle", 10.0, Reference())
    assert rig.habits == Habits()


def test_psi_in_the_file_is_kpa_inside() -> None:
    bottle = parse_rig(SMALL + "ceiling_psi = 60\ncaution_psi = 40").bottles[0]
    # scipy.constants.psi is the CODATA/NIST pound-force per square inch in pascal.
    assert bottle.ceiling_kpa == pytest.approx(60 * scipy.constants.psi / 1000, rel=1e-9)
    assert bottle.caution_kpa == pytest.approx(40 * scipy.constants.psi / 1000, rel=1e-9)


def test_caution_follows_a_low_ceiling() -> None:
    bottle = parse_rig(SMALL + "ceiling_psi = 30").bottles[0]
    assert bottle.caution_kpa == bottle.ceiling_kpa


@pytest.mark.parametrize(
    ("name", "bottles", "rails", "lowest", "highest"),
    [("three_rails", 34, 3, "C3", "G6"), ("one_rail", 13, 1, "C4", "A5")],
)
def test_shipped_rigs(name: str, bottles: int, rails: int, lowest: str, highest: str) -> None:
    rig = load_rig(CONFIGS / f"{name}.toml")
    assert len(rig.bottles) == bottles
    assert len({b.rail for b in rig.bottles}) == rails
    assert (rig.by_pitch[0].note.name, rig.by_pitch[-1].note.name) == (lowest, highest)
    assert rig.pieces
    assert all(not rig.missing_for(p) for p in rig.pieces)
    assert "invented scenario" in (CONFIGS / f"{name}.toml").read_text(encoding="utf-8")


def test_bottles_of_a_shipped_rig_stand_apart() -> None:
    rig = load_rig(CONFIGS / "three_rails.toml")
    for rail in {b.rail for b in rig.bottles}:
        places = sorted(b.position_cm for b in rig.bottles if b.rail == rail)
        assert all(b - a >= 9.0 for a, b in itertools.pairwise(places))


def test_everything_wrong_is_told_at_once() -> None:
    told = problems(
        """
        [rig]
        refrence = "floating"
        [[pump]]
        id = "floor"
        barrel_ml = inf
        [[bottle]]
        note = "H4"
        volum_ml = 1250
        ceiling_psi = 90
        pump = "flor"
        [[bottle]]
        note = "C9"
        volume_ml = true
        [[peice]]
        """
    )
    text = "\n".join(told)
    assert "did you mean 'reference'?" in text
    assert "did you mean 'piece'?" in text
    assert "did you mean 'volume_ml'?" in text
    assert "did you mean 'floor'?" in text
    assert "[[pump]] 1 (floor) barrel_ml: found inf; allowed: a number from 5 to 2000 mL" in told
    assert "[[bottle]] 2 (C9) volume_ml: found true; allowed: a number from 50 to 6000 mL" in told
    assert any("'H4'" in t for t in told)
    assert any("'C9'" in t for t in told)
    assert any("volume_ml: missing" in t for t in told)
    assert any("found 90" in t and "80 psi" in t and "pressure vessel" in t for t in told)


def test_the_message_names_the_file_and_the_count(tmp_path: Path) -> None:
    path = tmp_path / "yard.toml"
    path.write_text(SMALL + "rail = 1.5\ngroup = 'bas'", encoding="utf-8")
    with pytest.raises(BadRig, match=r"yard\.toml: 2 problems") as caught:
        load_rig(path)
    assert "did you mean 'bass'?" in str(caught.value)


@pytest.mark.parametrize(
    "psi", ["80.1", "1e9", "inf", "nan", "-5", "0", "true", "'60'", "9" * 400, f"0x{'f' * 1900}"]
)
def test_no_ceiling_above_the_refusal(psi: str) -> None:
    assert any("ceiling_psi" in p for p in problems(SMALL + f"ceiling_psi = {psi}"))


@pytest.mark.parametrize(
    ("line", "word"),
    [
        ("caution_psi = 81", "caution_psi"),
        ("id = ''", "id"),
        ("id = 'a\\u001b[2J'".replace("'", '"'), "id"),
        ("cap_fitted = 2026-02-01T10:00:00", "cap_fitted"),
        ("cap_fitted = '2026-02-01'", "cap_fitted"),
        ("tolerance_cents = 0", "tolerance_cents"),
        ("position_cm = nan", "position_cm"),
        ("rail = true", "rail"),
        ("pump = 7", "pump"),
        ("[[bottle]]\nnote='C4'\nvolume_ml=1000", "twice"),
        ("[[pump]]\nid='floor'\nbarrel_ml=90", "twice"),
        ("[[piece]]\nname='x'\nnotes=['C4']\n[[piece]]\nname='x'\nnotes=['C4']", "twice"),
        ("[piece]\nname='x'", "[[piece]]"),
        ("note = 'D4'", "not TOML"),
    ],
)
def test_one_problem(line: str, word: str) -> None:
    told = problems(SMALL + line)
    assert word in "\n".join(told)
    assert "\x1b" not in "\n".join(told)


def test_several_pumps_must_be_chosen_among() -> None:
    told = problems(SMALL + "[[pump]]\nid = 'hand'\nbarrel_ml = 80")
    assert told == ["[[bottle]] 1 (C4) pump: missing; allowed: the id of a pump in this file (floor, hand)"]


def test_a_rig_needs_bottles_and_pumps() -> None:
    told = problems("")
    assert any(t.startswith("[[bottle]]") for t in told)
    assert any(t.startswith("[[pump]]") for t in told)


@pytest.mark.parametrize(
    ("keys", "low", "high"),
    [
        ("limits_cents = 15", -15.0, 15.0),
        ("limits_cents = [-10, 20.5]", -10.0, 20.5),
        ("limits_cents = [0, 5]", 0.0, 5.0),
    ],
)
def test_floating_reference(keys: str, low: float, high: float) -> None:
    rig = parse_rig(
        SMALL.replace("[[pump]]", f"reference = 'floating'\nreference_hz = 442\n{keys}\n[[pump]]")
    )
    assert rig.reference == Reference(442.0, floating=True, low_cents=low, high_cents=high)


@pytest.mark.parametrize(
    "keys",
    [
        "reference = 'floating'",
        "reference = 'floating'\nlimits_cents = [5, 10]",
        "reference = 'floating'\nlimits_cents = [0, 0]",
        "reference = 'floating'\nlimits_cents = 'a bit'",
        "reference = 'floating'\nlimits_cents = [-1, nan]",
        "limits_cents = 10",
        "reference = 442",
        "reference_hz = 44",
    ],
)
def test_bad_reference(keys: str) -> None:
    told = problems(SMALL.replace("[[pump]]", f"{keys}\n[[pump]]"))
    assert "reference" in "\n".join(told) or "limits_cents" in "\n".join(told)


def test_windows_line_ends_and_byte_order_mark(tmp_path: Path) -> None:
    path = tmp_path / "rig.toml"
    path.write_bytes(b"\xef\xbb\xbf" + SMALL.replace("\n", "\r\n").encode())
    assert load_rig(path) == parse_rig(SMALL)


@pytest.mark.parametrize(
    "text",
    [
        "[" * 1500,
        "a = " + "[\n" * 20_000,
        "x",
        "a = 1\na = 2",
        "a." * 50_000 + "b = 1",
        ("a." * 990 + "b = 1\n") * 100,
    ],
    ids=["headers", "nested", "word", "twice", "dots", "lines of dots"],
)
def test_text_that_is_no_rig_ends_in_one_sentence(text: str) -> None:
    assert problems(text)


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    for path in (tmp_path / "none.toml", tmp_path, Path("bad\0name.toml")):
        with pytest.raises(BadRig):
            load_rig(path)
    big = tmp_path / "big.toml"
    big.write_text("#" * 500_000, encoding="utf-8")
    with pytest.raises(BadRig, match="larger than"):
        load_rig(big)
    latin = tmp_path / "latin.toml"
    latin.write_bytes("name = 'Höfe'".encode("latin-1"))
    with pytest.raises(BadRig, match="UTF-8"):
        load_rig(latin)


def test_saving_never_overwrites(tmp_path: Path) -> None:
    path = tmp_path / "rig.toml"
    rig = parse_rig(SMALL)
    save_rig(rig, path, heading="One\nTwo")
    assert path.read_text(encoding="utf-8").startswith("# One\n# Two\n\n[rig]\n")
    with pytest.raises(RoundsError, match="exists"):
        save_rig(rig, path)
    save_rig(rig, path, force=True)
    assert load_rig(path) == rig
    with pytest.raises(RoundsError, match="cannot be written"):
        save_rig(rig, tmp_path / "none" / "rig.toml")


def test_what_a_pump_says_of_its_gauge_is_read() -> None:
    pump = parse_rig(
        SMALL.replace(
            "barrel_ml = 160", "barrel_ml = 160\ngauge = true\ngauge_unit = 'bar'\ngauge_span_psi = 100"
        )
    ).pumps[0]
    assert (pump.kind, pump.gauge, pump.gauge_unit) == ("floor", True, "bar")
    assert pump.gauge_sd_kpa == pytest.approx(1.5 * scipy.constants.psi / 1000)


def test_a_pump_of_which_nothing_is_said_may_have_a_gauge() -> None:
    pump = parse_rig(SMALL).pumps[0]
    assert pump.gauge is None
    assert pump.gauge_sd_kpa == pytest.approx(0.04 * 160 * scipy.constants.psi / 1000)


def test_a_regulator_has_no_barrel_to_be_asked_for() -> None:
    assert parse_rig(SMALL.replace("barrel_ml = 160", "kind = 'regulator'")).pumps[0].kind == "regulator"
    told = problems(SMALL.replace("barrel_ml = 160", "kind = 'foot'"))
    assert [t.partition(":")[0] for t in told] == ["[[pump]] 1 (floor) kind", "[[pump]] 1 (floor) barrel_ml"]


tenths = st.integers(1, 800).map(lambda n: n / 10)
words = st.text(st.characters(categories=("L", "N", "P")), min_size=1, max_size=12)


@st.composite
def rigs(draw: st.DrawFn) -> Rig:
    """Any rig that a file can say."""
    psi = scipy.constants.psi / 1000
    pumps = tuple(
        Pump(
            p,
            draw(st.floats(5, 2000)),
            draw(st.booleans()),
            draw(tenths) * 6.894757293168 + psi,
            kind=draw(st.sampled_from(("hand", "floor", "regulator"))),
            gauge=draw(st.none() | st.booleans()),
            gauge_unit=draw(st.sampled_from(("psi", "bar", "kPa"))),
        )
        for p in draw(st.lists(words, min_size=1, max_size=3, unique=True))
    )
    bottles = []
    for bottle_id in draw(st.lists(words, min_size=1, max_size=5, unique=True)):
        ceiling = draw(st.integers(10, 800)) / 10
        caution = draw(st.integers(10, round(ceiling * 10))) / 10
        bottles.append(
            Bottle(
                bottle_id,
                Note(draw(st.integers(45, 98))),
                draw(st.floats(50, 6000)),
                draw(st.integers(0, 50)),
                draw(st.floats(-5000, 5000)),
                draw(st.sampled_from(pumps)).id,
                draw(st.floats(0.5, 100)),
                ceiling * 6.894757293168,
                caution * 6.894757293168,
                draw(st.none() | st.dates(datetime.date(2000, 1, 1))),
                draw(st.sampled_from(("bass", "middle", "top"))),
            )
        )
    floating = draw(st.none() | st.floats(0.5, 100))
    reference = Reference(draw(st.floats(380, 480)))
    if floating:
        reference = Reference(reference.a4_hz, floating=True, low_cents=-floating, high_cents=0.0)
    return Rig(draw(words), tuple(bottles), pumps, (), reference, Habits(draw(st.floats(0.1, 50))))


@pytest.mark.slow
@given(rigs())
def test_a_saved_rig_is_the_same_rig(rig: Rig) -> None:
    back = parse_rig(rig_to_toml(rig))
    assert back.bottles == rig.bottles
    assert (back.name, back.reference, back.habits) == (rig.name, rig.reference, rig.habits)
    for was, now in zip(rig.pumps, back.pumps, strict=True):
        assert now.max_gauge_kpa == pytest.approx(was.max_gauge_kpa, rel=1e-9)
        assert (now.id, now.barrel_ml, now.release_valve) == (was.id, was.barrel_ml, was.release_valve)


anything: st.SearchStrategy[Any] = st.recursive(
    st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | st.dates() | st.just("C4"),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=6,
)
KEYS = [
    "id",
    "note",
    "volume_ml",
    "rail",
    "position_cm",
    "pump",
    "tolerance_cents",
    "ceiling_psi",
    "caution_psi",
    "cap_fitted",
    "group",
    "name",
    "notes",
    "midi",
    "exposed",
    "fixed_pitch",
    "backing_track",
    "barrel_ml",
    "release_valve",
    "max_psi",
    "setup_s",
    "reference",
    "reference_hz",
    "limits_cents",
    "due_limit",
    "block_s",
    "thermometer_file",
    "other",
]
tables = st.dictionaries(st.sampled_from(KEYS), anything, max_size=8)


@pytest.mark.slow
@given(
    st.fixed_dictionaries(
        {},
        optional={
            "rig": tables | anything,
            "pump": st.lists(tables, max_size=3) | anything,
            "bottle": st.lists(tables, max_size=3) | anything,
            "piece": st.lists(tables, max_size=3) | anything,
            "other": anything,
        },
    )
)
def test_any_tables_give_a_rig_or_problems(data: dict[str, Any]) -> None:
    rig, told = rig_or_problems(tomli_w.dumps(data))
    if rig is None:
        assert all(p.isprintable() for p in told)
        return
    assert all(0 < b.ceiling_kpa <= 80 * 6.894757293168 + 1e-6 for b in rig.bottles)
    assert all(math.isfinite(b.volume_ml) for b in rig.bottles)


@given(st.binary(max_size=300))
def test_any_bytes_give_a_rig_or_problems(data: bytes) -> None:
    rig, told = rig_or_problems(data.decode("latin-1"))
    assert rig is None
    assert told


@given(st.data())
def test_a_damaged_rig_gives_a_rig_or_problems(data: st.DataObject) -> None:
    text = (CONFIGS / "one_rail.toml").read_text(encoding="utf-8")
    at = data.draw(st.integers(0, len(text) - 1))
    cut = data.draw(st.integers(0, 12))
    put = data.draw(st.text(max_size=6))
    rig, told = rig_or_problems(text[:at] + put + text[at + cut :])
    assert (rig is None) == bool(told)
