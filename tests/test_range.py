"""What notes need, and which bottle of the shelf fits where.

Outside checks: the assignment against every permutation and against OR-tools; the scaling of a shell
with its size against the frequency formula of a pressurised cylinder (Fung, Sechler & Kaplan 1957,
J. Aeronautical Sciences 24(9), 650-660; formula from memory); the line through heard pitches against
numpy.polyfit. What is "common practice, no source" is marked so where it is checked.
"""

from __future__ import annotations

import argparse
import itertools
import json
import math
from typing import TYPE_CHECKING

import numpy as np
import pytest
import tomli_w
from hypothesis import given, settings
from hypothesis import strategies as st
from ortools.graph.python import linear_sum_assignment as ortools_lsa
from scipy.optimize import minimize_scalar

from rounds.air import DEFAULT_CEILING_KPA, kpa_to_psi, psi_to_kpa
from rounds.commands import range as command
from rounds.errors import BadInput, BadRig
from rounds.notes import Note, parse_note
from rounds.rig import size_of
from rounds.workshop.fit import cost_of, empty_cost, fit_shelf
from rounds.workshop.range import (
    REFUSED,
    USUAL_VOLUME_ML,
    Need,
    need_of,
    need_on_line,
    parse_notes,
    reach_of,
    shell_of_size,
    usual_need,
    usual_shell,
)
from rounds.workshop.shelf import Heard, ShelfLine, load_shelf, parse_shelf, shell_of_many

if TYPE_CHECKING:
    from pathlib import Path

notes = st.integers(40, 100).map(Note)
volumes_ml = st.floats(200.0, 5000.0)


def name_list(text: str) -> list[str]:
    return [n.name for n in parse_notes(text)]


def test_notes_of_a_span_and_a_list() -> None:
    assert name_list("C4-E4") == ["C4", "C#4", "D4", "D#4", "E4"]
    assert name_list("G4, C4,Eb4..E4") == ["C4", "D#4", "E4", "G4"]
    assert [n.name for n in parse_notes("C3-C4", naturals_only=True)] == [
        "C3",
        "D3",
        "E3",
        "F3",
        "G3",
        "A3",
        "B3",
        "C4",
    ]
    assert len(parse_notes("C3-G6")) == 44


@pytest.mark.parametrize("text", ["", "H4", "C4-", "E4-C4", "C4-E", "C4;E4"])
def test_notes_that_are_none(text: str) -> None:
    with pytest.raises(ValueError, match=r"note name|downwards"):
        parse_notes(text)


def test_the_usual_instrument_is_as_players_say() -> None:
    """Common practice, no source: 2 L bass, C4-E6 reliable, G6 near 70 psi on 600 mL."""
    needs = {n.name: usual_need(n) for n in parse_notes("C3-G6")}
    assert [k for k, n in needs.items() if n.standing == "reliable"] == name_list("C4-E6")
    assert {k for k, n in needs.items() if n.volume_ml == 600.0} == set(name_list("C6-G6"))
    assert all(needs[k].standing == "drifts" and needs[k].volume_ml == 2000.0 for k in name_list("C3-B3"))
    assert all(
        needs[k].standing == "hard_to_hold" and needs[k].volume_ml == 600.0 for k in name_list("F6-G6")
    )
    assert kpa_to_psi(needs["G6"].gauge_kpa or 0.0) == pytest.approx(70.0)


@pytest.mark.parametrize("note", parse_notes("C3-G6"), ids=str)
def test_the_size_for_a_note_is_the_one_that_holds_it_at_the_least_pressure(note: Note) -> None:
    """Of the sizes that hold it, at no less pressure than C4 has on its own. Where none does, the bass has
    the size that drifts least, so the most pressure, and the top the size with the least."""
    least_kpa = usual_need(parse_note("C4")).gauge_kpa or 0.0
    needs = [need_of(note, v, shell_of_size(note, v)) for v in USUAL_VOLUME_ML.values()]
    played = [(n.gauge_kpa or 0.0, n) for n in needs if n.gauge_kpa is not None]
    holding = [(kpa, n) for kpa, n in played if n.standing == "reliable" and kpa >= least_kpa - 1e-9]
    drifting = [(kpa, n) for kpa, n in played if n.standing == "drifts"]
    best = (
        min(holding, key=lambda p: p[0]) if holding
        else max(drifting, key=lambda p: p[0]) if drifting
        else min(played, key=lambda p: p[0])
    )[1]  # fmt: skip
    assert USUAL_VOLUME_ML[size_of(note)] == best.volume_ml


def test_three_sizes_cover_the_whole_range_between_them() -> None:
    """Common practice, no source."""
    wanted = parse_notes("C3-G6")
    played = {n.note for volume_ml in USUAL_VOLUME_ML.values() for n in reach_of(volume_ml, wanted)}
    assert played == set(wanted)


def test_one_stroke_on_the_lowest_bass_is_about_a_semitone() -> None:
    """Common practice, no source: one small push is about a semitone."""
    assert usual_need(parse_note("C3")).cents_per_stroke == pytest.approx(100.0, abs=20.0)


@given(notes, volumes_ml, st.floats(50.0, DEFAULT_CEILING_KPA), st.floats(20.0, 1000.0))
def test_no_pressure_is_named_above_a_ceiling(
    note: Note, volume_ml: float, ceiling_kpa: float, barrel_ml: float
) -> None:
    shell = shell_of_size(note, volume_ml)
    need = need_of(note, volume_ml, shell, ceiling_kpa=ceiling_kpa, barrel_ml=barrel_ml)
    if need.gauge_kpa is None:
        assert need.standing in REFUSED
        assert need.strokes is None
        assert not 0.0 < shell.gauge_kpa(note.hz()) <= ceiling_kpa
    else:
        assert 0.0 < need.gauge_kpa <= ceiling_kpa
        assert shell.hz(need.gauge_kpa) == pytest.approx(note.hz())


@given(notes, st.floats(1650.0, 2000.0), st.floats(1.05, 3.0))
def test_a_larger_bottle_of_a_group_needs_more_air(note: Note, volume_ml: float, ratio: float) -> None:
    small, large = (shell_of_size(note, v).gauge_kpa(note.hz()) for v in (volume_ml, volume_ml * ratio))
    assert large > small


def fung_hz2(n: float, length_m: float, radius_m: float, wall_m: float, gauge_pa: float) -> float:
    """Squared frequency of mode (m = 1, n) of a thin pressurised cylinder with closed ends."""
    young_pa, density, poisson = 3e9, 1350.0, 0.38
    lam = math.pi * radius_m / length_m
    spread = n * n + lam * lam
    stretch = young_pa / (density * radius_m**2) * lam**4 / spread**2
    bend = young_pa * wall_m**2 / (12 * (1 - poisson**2) * density * radius_m**4) * spread**2
    tension = gauge_pa / (density * wall_m * radius_m) * (n * n + lam * lam / 2)
    return (stretch + bend + tension) / (4 * math.pi**2)


def lowest_hz2(scale: float, gauge_pa: float) -> tuple[float, float]:
    """The lowest mode of a bottle-like cylinder of one wall thickness (n as a real number): n and f²."""
    shape = (0.22 * scale, 0.045 * scale, 0.3e-3)
    found = minimize_scalar(lambda n: fung_hz2(n, *shape, gauge_pa), bounds=(1.0, 20.0), method="bounded")
    return float(found.x), float(found.fun)


@pytest.mark.parametrize("volume_ratio", [0.7, 0.85, 1.1, 1.25])
def test_size_scales_a_shell_as_the_cylinder_formula_does(volume_ratio: float) -> None:
    scale = volume_ratio ** (1 / 3)
    (n0, stiff0), (_, stiff) = lowest_hz2(1.0, 0.0), lowest_hz2(scale, 0.0)
    assert stiff / stiff0 == pytest.approx(1.0 / volume_ratio, rel=0.05)
    slope0, slope = (
        fung_hz2(n0, 0.22 * s, 0.045 * s, 0.3e-3, 1e5) - fung_hz2(n0, 0.22 * s, 0.045 * s, 0.3e-3, 0.0)
        for s in (1.0, scale)
    )
    assert slope / slope0 == pytest.approx(volume_ratio ** (-1 / 3))
    c4 = parse_note("C4")
    usual, sized = usual_shell(c4), shell_of_size(c4, 1250.0 * volume_ratio)
    assert sized.stiffness_hz2 / usual.stiffness_hz2 == pytest.approx(1.0 / volume_ratio)
    assert sized.slope_hz2_per_kpa / usual.slope_hz2_per_kpa == pytest.approx(slope / slope0)


def test_outside_its_group_a_bottle_keeps_its_own_shell() -> None:
    """One bottle, one a and one b: from E6 down the 600 mL bottle is the one of F6."""
    assert len({shell_of_size(n, 600.0) for n in parse_notes("C5-F6")}) == 1
    assert shell_of_size(parse_note("G6"), 600.0) == usual_shell(parse_note("G6"))


def test_the_line_through_heard_pitches_is_the_least_squares_line() -> None:
    heard = tuple(Heard(p, f) for p, f in ((100.0, 330.0), (160.0, 398.0), (240.0, 471.0), (300.0, 515.0)))
    slope, start = np.polyfit([h.gauge_kpa for h in heard], [h.hz**2 for h in heard], 1)
    shell = shell_of_many(heard)
    assert (shell.slope_hz2_per_kpa, shell.stiffness_hz2) == pytest.approx((slope, start))


def test_a_heard_bottle_needs_what_was_heard() -> None:
    line = ShelfLine("a", 1250.0, heard=(Heard(psi_to_kpa(30.0), 440.0),))
    assert need_on_line(parse_note("A4"), line).gauge_kpa == pytest.approx(psi_to_kpa(30.0))


SHELF = """
[[bottle]]
id = "two litre"
volume_ml = 2000
count = 3
heard = [{ psi = 12, note = "F#3" }, { psi = 20, hz = 227 }]
[[bottle]]
id = "small"
volume_ml = 600
ceiling_psi = 65
"""


def test_a_shelf_is_read() -> None:
    two, small = parse_shelf(SHELF)
    assert (two.id, two.count, len(two.heard)) == ("two litre", 3, 2)
    assert two.heard[0].hz == pytest.approx(185.0, abs=0.01)
    assert (small.count, small.measured_shell) == (1, None)
    assert small.ceiling_kpa == pytest.approx(psi_to_kpa(65.0))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "[[bottle]]"),
        ("[[bottle]", "TOML"),
        ("[[bottle]]\nid = 'a'\nvolume_ml = 2000\ncuont = 2", "did you mean 'count'"),
        ("[[bottle]]\nid = 'a'", "volume_ml: missing"),
        ("[[bottle]]\nid = 'a'\nvolume_ml = 2000\nceiling_psi = 125", "ceiling_psi: found 125"),
        ("[[bottle]]\nid = 'a'\nvolume_ml = 2000\nheard = [{ psi = 20 }]", "hz: missing"),
        ("[[bottle]]\nid = 'a'\nvolume_ml = 2000\nheard = 3", "heard: found 3"),
        ("[[bottle]]\nid = 'a'\nvolume_ml = 9e9", "volume_ml: found"),
        ("[[bottle]]\nid = 'a'\nvolume_ml = 600\n[[bottle]]\nid = 'a'\nvolume_ml = 600", "twice"),
        (
            "[[bottle]]\nid='a'\nvolume_ml=900\nheard=[{psi=20,note='C4'},{psi=20.1,note='C4'}]",
            "too close",
        ),
        ("[[bottle]]\nid='a'\nvolume_ml=900\nheard=[{psi=20,note='C4'},{psi=30,note='B3'}]", "does not rise"),
        ("[[bottle]]\nid='a'\nvolume_ml=900\nheard=[{psi=20,note='C4'},{psi=25,note='C5'}]", "rises faster"),
    ],
)
def test_what_is_wrong_with_a_shelf_is_told(text: str, told: str) -> None:
    with pytest.raises(BadRig) as caught:
        parse_shelf(text)
    assert told in str(caught.value)


JUNK = st.one_of(
    st.none().map(lambda _: []), st.booleans(), st.integers(), st.floats(), st.text(max_size=6), st.just([{}])
)
KEYS = st.sampled_from(["id", "volume_ml", "count", "ceiling_psi", "heard", "psi", "hz", "note", "x"])
TABLES = st.dictionaries(
    KEYS, st.recursive(JUNK, lambda inner: st.lists(st.dictionaries(KEYS, inner, max_size=4), max_size=2))
)


@pytest.mark.slow
@given(st.lists(TABLES, max_size=3))
def test_any_toml_is_a_shelf_or_its_problems_are_told(tables: list[dict[str, object]]) -> None:
    try:
        shelf = parse_shelf(tomli_w.dumps({"bottle": tables}))
    except BadRig:
        return
    assert all(line.volume_ml >= 100.0 and line.count >= 1 for line in shelf)


def test_a_shelf_that_cannot_be_read(tmp_path: Path) -> None:
    for data, told in (
        (None, "cannot be read"),
        (b"\xff\xfe", "not UTF-8"),
        (b"#" * 400_001, "larger than 400 kB"),
        (b"a" + b".a" * 30_000 + b" = 1", "line 1 is longer"),
        (b"a = " + b"[" * 1900, "TOML|deep"),
    ):
        path = tmp_path / "shelf.toml"
        if data is not None:
            path.write_bytes(data)
        with pytest.raises(BadRig, match=told):
            load_shelf(path)
    with pytest.raises(BadRig, match="not a file"):
        load_shelf(tmp_path)


def costs_of(wanted: tuple[Note, ...], shelf: list[ShelfLine]) -> list[list[float]]:
    """One row a note; one column a bottle, then one column a note for leaving it empty."""
    bottles = [line for line in shelf for _ in range(line.count)]
    return [
        [cost_of(need_on_line(n, line), len(wanted)) for line in bottles]
        + [empty_cost(len(wanted))] * len(wanted)
        for n in wanted
    ]


def cost_of_plan(wanted: tuple[Note, ...], shelf: list[ShelfLine]) -> float:
    fits = fit_shelf(wanted, shelf).fits
    return sum(
        empty_cost(len(wanted)) if f.line is None else cost_of(need_on_line(f.need.note, f.line), len(wanted))
        for f in fits
    )


def random_shelf(rng: np.random.Generator, lines: int, most: int) -> list[ShelfLine]:
    return [
        ShelfLine(
            id=str(k),
            volume_ml=float(rng.choice([500, 600, 1000, 1250, 1500, 2000])),
            count=int(rng.integers(1, most + 1)),
            heard=(Heard(float(rng.uniform(30, 400)), float(rng.uniform(150, 1500))),)
            if rng.random() < 0.5
            else (),
        )
        for k in range(lines)
    ]


def worth(needs: list[Need | None]) -> tuple[int, int, float]:
    """What a plan is judged by, first things first: notes empty, notes beyond, octaves of pressure off."""
    played = [n for n in needs if n is not None]
    octaves = [
        abs(math.log2(n.gauge_kpa / usual_shell(n.note).gauge_kpa(n.hz))) for n in played if n.gauge_kpa
    ]
    beyond = sum(n.standing != "reliable" for n in played)
    return (len(needs) - len(played), beyond, round(sum(octaves), 6))


@pytest.mark.parametrize("case", range(12))
def test_no_permutation_beats_the_assignment(case: int) -> None:
    rng = np.random.default_rng(case)
    shelf = random_shelf(rng, 4, 1)
    wanted = tuple(Note(int(m)) for m in sorted(rng.choice(np.arange(48, 92), 4, replace=False)))
    choices: list[ShelfLine | None] = [*shelf, None, None, None, None]
    plans = [
        [None if line is None else need_on_line(note, line) for note, line in zip(wanted, lines, strict=True)]
        for lines in set(itertools.permutations(choices, 4))
    ]
    possible = [p for p in plans if all(n is None or n.standing not in REFUSED for n in p)]
    found = [f.need if f.line else None for f in fit_shelf(wanted, shelf).fits]
    assert worth(found) == min(worth(p) for p in possible)


@pytest.mark.parametrize("case", range(4))
def test_a_whole_instrument_costs_what_ortools_finds(case: int) -> None:
    shelf = random_shelf(np.random.default_rng(100 + case), 8, 7)
    wanted = parse_notes("C3-G6")
    costs = costs_of(wanted, shelf)
    solver, scale = ortools_lsa.SimpleLinearSumAssignment(), 1e6
    idle_rows = len(costs[0]) - len(wanted)
    for i, row in enumerate(costs + [[0.0] * len(costs[0])] * idle_rows):
        for j, cost in enumerate(row):
            solver.add_arc_with_cost(i, j, round(cost * scale))
    assert solver.solve() == solver.OPTIMAL
    assert cost_of_plan(wanted, shelf) == pytest.approx(solver.optimal_cost() / scale, abs=1e-3)


@settings(max_examples=30)
@given(st.lists(notes, min_size=1, max_size=8, unique=True), st.integers(0, 2**32 - 1))
def test_no_bottle_is_used_twice_and_none_is_lost(wanted: list[Note], number: int) -> None:
    shelf = random_shelf(np.random.default_rng(number), 4, 3)
    plan = fit_shelf(wanted, shelf)
    assert [f.need.note for f in plan.fits] == wanted
    for line in shelf:
        used = sum(f.line is line for f in plan.fits)
        assert used + plan.left_over[line.id] == line.count
    assert all(f.need.standing not in REFUSED for f in plan.fits if f.line)


def test_filling_a_note_comes_before_holding_it() -> None:
    """Two bottles, two notes: the drifting one is used rather than a note left empty."""
    bass, middle = ShelfLine("bass", 2000.0), ShelfLine("middle", 1250.0)
    plan = fit_shelf([parse_note("C3"), parse_note("C5")], [middle, bass])
    assert [f.line.id for f in plan.fits if f.line] == ["bass", "middle"]


def test_holding_a_note_comes_before_the_usual_pressure() -> None:
    """C4 usually has 20 psi: a bottle that plays it at 19 drifts, one at 40 does not."""
    c4 = parse_note("C4")
    near, far = (
        ShelfLine(f"{psi}", 1250.0, heard=(Heard(psi_to_kpa(psi), c4.hz()),)) for psi in (19.0, 40.0)
    )
    assert (need_on_line(c4, near).standing, need_on_line(c4, far).standing) == ("drifts", "reliable")
    (fit,) = fit_shelf([c4], [near, far]).fits
    assert fit.line is far


def run(argv: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    parser = argparse.ArgumentParser()
    command.register(parser.add_subparsers())
    args = parser.parse_args(["range", *argv])
    assert args.run(args) == 0
    out = capsys.readouterr()
    assert "never lean over a cap" in out.err
    return out.out


def test_command_prints_one_document(capsys: pytest.CaptureFixture[str]) -> None:
    document = json.loads(run(["C3-G6", "--json"], capsys))
    assert len(document["notes"]) == 44
    assert document["notes"][12]["gauge_psi"] == pytest.approx(20.0)


def test_command_tells_why_notes_are_beyond(capsys: pytest.CaptureFixture[str]) -> None:
    text = run(["C3-A6"], capsys)
    assert "C3 to B3: low pressure" in text
    assert "G#6 to A6: would need more than its ceiling of 80 psi" in text
    assert max(len(line) for line in text.splitlines()) <= 80


def test_command_with_a_shelf(tmp_path: object, capsys: pytest.CaptureFixture[str]) -> None:
    path = f"{tmp_path}/shelf.toml"
    with open(path, "w", encoding="utf-8") as file:
        file.write(SHELF)
    document = json.loads(run(["F#3,G6", "--shelf", path, "--json"], capsys))
    assert [n["bottle"] for n in document["notes"]] == ["two litre", None]
    assert document["unfilled"] == ["G6"]
    assert document["left_over"] == {"two litre": 2, "small": 1}
    assert "No bottle for G6" in run(["F#3,G6", "--shelf", path], capsys)


@pytest.mark.parametrize("argv", [["E4-C4"], ["X"], ["C4", "--barrel-ml", "0"], ["C#4", "--naturals"]])
def test_command_refuses(argv: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(BadInput):
        run(argv, capsys)
