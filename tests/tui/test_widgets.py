"""Drawing without an app: letters, canvas, rails, ribbons, themes."""

from __future__ import annotations

import dataclasses
import itertools
import math
from dataclasses import replace
from operator import truediv
from typing import TYPE_CHECKING, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich._palettes import STANDARD_PALETTE
from textual.color import Color

from rounds.faces.controller import Level
from rounds.instruction import Act, State
from rounds.tui import betweenmodels, lettering, models, themes
from rounds.tui.canvas import Canvas, clipped, folded
from rounds.tui.intents import INTENTS
from rounds.tui.widgets.lines import Foot, Said
from rounds.tui.widgets.rails import Rails, RailsModel, places, rows_of, small
from rounds.tui.widgets.ribbons import leaves_text, mark
from rounds.tui.widgets.slab import Slab, SlabModel, wordings
from rounds.wording import shown
from tests.tui.fake import FakeController, drift_path, told

if TYPE_CHECKING:
    from textual.theme import Theme

    from rounds.faces.view import Mode

ALPHABETS = {"tall": lettering.TALL, "narrow": lettering.NARROW, "small": lettering.SMALL}
HEADLINES = ("Rest", "In tune", "Done", "Let it settle", "By hand", "G#5: no more air")


class TestLettering:
    @pytest.mark.parametrize("alphabet", ALPHABETS.values(), ids=list(ALPHABETS))
    def test_every_glyph_is_a_whole_rectangle(self, alphabet: lettering.Alphabet) -> None:
        for char, rows in alphabet.glyphs.items():
            assert len(rows) == alphabet.height_px, char
            assert len({len(r) for r in rows}) == 1, char
            assert set("".join(rows)) <= {"#", "."}, char

    @pytest.mark.parametrize("alphabet", ALPHABETS.values(), ids=list(ALPHABETS))
    def test_no_two_glyphs_look_alike(self, alphabet: lettering.Alphabet) -> None:
        """Signs of one meaning (both minus signs) excepted."""
        drawn = [rows for char, rows in alphabet.glyphs.items() if char != "-"]
        assert len(set(drawn)) == len(drawn)

    def test_pixels_survive_the_half_blocks(self) -> None:
        """Every lit pixel is one lit half cell."""
        lit = sum(row.count("#") for row in lettering.TALL.glyphs["R"])
        rows = "".join(lettering.draw("R").rows)
        assert rows.count("█") * 2 + rows.count("▀") + rows.count("▄") == lit

    @given(st.integers(1, 3), st.text("ACDEPT 0123", min_size=1, max_size=8))
    def test_scaling_multiplies_the_width(self, scale: int, text: str) -> None:
        assert lettering.draw(text, scale=scale).width == scale * lettering.draw(text).width

    @given(st.integers(1, 150), st.integers(1, 14))
    def test_fit_never_overflows(self, width: int, height: int) -> None:
        drawn = lettering.fit("PUMP 3", width, height)
        if drawn is not None:
            assert drawn.width <= width
            assert drawn.height <= height

    @pytest.mark.slow
    @pytest.mark.parametrize("size", [(60, 4), (80, 5), (200, 13)], ids=str)
    @pytest.mark.parametrize("act", get_args(Act))
    def test_every_order_is_large(self, act: Act, size: tuple[int, int]) -> None:
        """Whatever is asked for, at every size, fills four rows: it is never plain text."""
        for order in _orders(act):
            name = "" if act == "wait" else "G#5"
            canvas = _draw_slab(name, order, *size)
            blocks = canvas.count("█") + canvas.count("▀") + canvas.count("▄")
            assert blocks > 20, order
            assert order not in canvas
            assert size[0] < 80 or "G#5" not in canvas, order

    def test_larger_room_larger_letters(self) -> None:
        lit = [_draw_slab("C3", "ADD 2", *size).count("█") for size in ((60, 4), (100, 9), (140, 13))]
        assert lit[0] < lit[1] < lit[2]

    def test_parts_of_a_stroke_are_drawn_in_figures(self) -> None:
        assert wordings("ADD 3⅜") == ("ADD 3 3/8",)
        assert wordings("LET OUT ¾") == ("LET OUT 3/4", "OUT 3/4")

    def test_long_words_fall_back_to_plain_ones(self) -> None:
        assert "NO MORE AIR" in _draw_slab("G6", "NO MORE AIR", 30, 5)


def _orders(act: Act) -> list[str]:
    """All that can be ordered by an act: its doses to the eighth, or its headlines."""
    if act in shown.MOVES_AIR:
        return [shown.order(told(act, "G#5", n / 8)) for n in range(1, 161)]
    if act in ("wait", "none"):
        return [shown.order(replace(told(act, "G#5"), headline=h)) for h in HEADLINES]
    return [shown.order(told(act, "G#5"))]


def _draw_slab(name: str, order: str, width: int, height: int) -> str:
    slab = Slab()
    slab.model = SlabModel("add", name, order)
    canvas = Canvas(width, height)
    slab.draw(canvas)
    return canvas.content().plain


class TestCanvas:
    def test_outside_is_dropped(self) -> None:
        canvas = Canvas(4, 2)
        canvas.text(-1, 0, "abcdefg")
        canvas.text(0, 5, "zz")
        assert canvas.content().plain == "bcde\n    "

    @given(st.text("ab ", max_size=60), st.integers(1, 20), st.integers(1, 4))
    def test_folded_keeps_inside(self, text: str, width: int, rows: int) -> None:
        lines = folded(text, width, rows)
        assert len(lines) <= rows
        assert all(len(line) <= width for line in lines)

    def test_clipped(self) -> None:
        assert clipped("strike", 6) == "strike"
        assert clipped("strike", 4) == "str…"
        assert clipped("strike", 0) == ""


SMALL_SIGNS = ("▔", "▕▄▏1½", "▐█▌½", "▕░▏", "▕ ▏", "▕╱▏", "╌")
LARGE_SIGNS = ("▔▔▔▔▔▔▔", "│▄▄▄▄▄│", "▟█████▙", "│░░░░░│", "│ ╱   │", "╌╌╌╌╌╌╌", "╰──1½─╯")


class TestRails:
    @given(st.lists(st.floats(0, 500), min_size=1, max_size=15), st.integers(3, 9), st.integers(0, 80))
    def test_bottles_keep_order_and_apart_and_inside(
        self, positions: list[float], cell: int, spare: int
    ) -> None:
        width = len(positions) * cell + spare
        columns = places(sorted(positions), cell, width)
        assert columns[0] >= 0
        assert columns[-1] + cell <= width
        assert all(b - a >= cell for a, b in itertools.pairwise(columns))

    def test_even_rail_is_drawn_evenly(self) -> None:
        assert places([0, 10, 20, 30], 4, 40) == [0, 12, 24, 36]

    def test_nearest_rail_is_lowest(self) -> None:
        bottles = FakeController().bottle_views()
        assert [rail for rail, _ in rows_of(bottles, 76)] == [3, 2, 1]

    def test_a_crowded_rail_takes_a_second_row(self) -> None:
        bottles = FakeController().bottle_views()
        rows = rows_of(bottles, 24)
        assert sum(len(on) for _, on in rows) == len(bottles)
        assert all(len(on) <= 6 for _, on in rows)

    @pytest.mark.parametrize(("height", "signs"), [(6, SMALL_SIGNS), (9, SMALL_SIGNS), (18, LARGE_SIGNS)])
    def test_states_show_without_colour(self, height: int, signs: tuple[str, ...]) -> None:
        """Shapes and figures alone, styles dropped, tell the states apart."""
        rails = Rails()
        rails.model = RailsModel(FakeController().bottle_views(), "A3", None)
        canvas = Canvas(140, height)
        rails.draw(canvas)
        text = canvas.content().plain
        for sign in signs:
            assert sign in text, sign

    @pytest.mark.parametrize("cell", range(4, 12))
    @pytest.mark.parametrize("height", [2, 3, 5, 6])
    def test_the_shape_is_never_dropped(self, cell: int, height: int) -> None:
        """However narrow: colour would be alone without it."""
        bottles = FakeController().bottle_views()[:11]
        rails = Rails()
        rails.model = RailsModel(bottles, None, None)
        canvas = Canvas(11 * cell + 4, height)
        rails.draw(canvas)
        text = canvas.content().plain
        for shape, states in (("▔", "holds"), ("░", "unsure"), ("█", "too_full"), ("╌", "fades")):
            wanted = any(b.state == states for b in bottles)
            assert (shape in text) == wanted, shape

    def test_figures_fit_or_give_way(self) -> None:
        wants = next(b for b in FakeController().bottle_views() if b.state == "wants_air")
        assert [small(wants, room) for room in (5, 4, 3, 2)] == ["▕▄▏1½", "▄1½", "▄1½", "▄"]

    @pytest.mark.parametrize(
        ("strokes", "level"),
        [(0.1, "▇"), (0.25, "▆"), (0.5, "▅"), (1.0, "▄"), (2.0, "▃"), (4.0, "▂"), (8.0, "▁"), (60.0, "▁")],
    )
    def test_each_step_down_is_twice_the_work(self, strokes: float, level: str) -> None:
        assert shown.level_of(strokes) == level

    def test_signs_and_words_are_all_different(self) -> None:
        assert len(set(shown.SIGN.values())) == len(shown.SIGN)
        assert len(set(shown.WORD.values())) == len(shown.WORD)


class TestRibbons:
    def test_marks_follow_the_chance(self) -> None:
        path = drift_path("C3", "C3", -1.0, 10.0)
        assert [mark(path, m)[0] for m in (0, 10, 40)] == ["▔", "╌", "▅"]
        assert mark(drift_path("C3", "C3", 1.0, 10.0), 40)[0] == "█"

    def test_leaves(self) -> None:
        assert leaves_text(drift_path("C3", "C3", -1.0, 9.2)) == "9 min"
        assert leaves_text(drift_path("C3", "C3", -1.0, 0.0)) == "out now"
        assert leaves_text(drift_path("C3", "C3", 0.0, None)) == "holds"


ALL_THEMES = (*themes.THEMES, themes.DARK_16, themes.LIGHT_16)


def _luminance(colour: Color) -> float:
    """Relative luminance as defined in WCAG 2.2 (W3C Recommendation, 2023)."""
    linear = [
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in (v / 255 for v in colour.rgb)
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, other: str) -> float:
    """Contrast ratio as defined in WCAG 2.2."""
    light, dark = sorted((_luminance(Color.parse(one)), _luminance(Color.parse(other))), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("theme", ALL_THEMES, ids=[t.name for t in ALL_THEMES])
class TestThemes:
    """WCAG 2.2, success criterion 1.4.3: 4.5 to 1 for text, what rests and is faint included."""

    @pytest.mark.parametrize("name", ["air-in", "air-out", "faint", "loud"])
    def test_words_stand_out(self, theme: Theme, name: str) -> None:
        assert theme.background is not None
        assert _contrast(theme.variables[name], theme.background) >= 4.5

    def test_keys_stand_out_on_their_line(self, theme: Theme) -> None:
        assert theme.panel is not None
        assert theme.accent is not None
        assert _contrast(theme.accent, theme.panel) >= 4.5
        assert _contrast(theme.variables["faint"], theme.panel) >= 4.5

    @pytest.mark.parametrize("slab", themes.SLABS)
    def test_orders_stand_out_on_their_slab(self, theme: Theme, slab: str) -> None:
        style = theme.variables[slab]
        if style != "reverse":
            ink, _, ground = style.partition(" on ")
            assert _contrast(ink, ground) >= 4.5

    @pytest.mark.parametrize("name", ["loud", "faint", "air-in"])
    def test_words_of_strip_and_forms_stand_out(self, theme: Theme, name: str) -> None:
        assert theme.panel is not None
        assert theme.surface is not None
        assert _contrast(theme.variables[name], theme.panel) >= 4.5
        assert _contrast(theme.variables[name], theme.surface) >= 4.5

    def test_plain_text_stands_out_everywhere(self, theme: Theme) -> None:
        assert theme.foreground is not None
        for ground in (theme.background, theme.surface, theme.panel):
            assert ground is not None
            assert _contrast(theme.foreground, ground) >= 4.5


@pytest.mark.parametrize("theme", [themes.DARK, themes.LIGHT], ids=["dark", "light"])
@pytest.mark.parametrize("kind", ["protan", "deutan", "tritan"])
def test_straw_and_iris_stay_apart_for_every_eye(theme: Theme, kind: str) -> None:
    """Simulated as by Machado, Oliveira & Fernandes, IEEE TVCG 15 (2009) 1291, severity 1.0 (matrices from
    memory); 20 in CIELAB is far beyond what is just noticed, about 2.3 (common practice, no source)."""
    seen = [_lab(_as_seen(Color.parse(theme.variables[name]), kind)) for name in ("air-in", "air-out")]
    assert math.dist(*seen) >= 20.0


_SEEN = {
    "protan": ((0.152, 1.053, -0.205), (0.115, 0.786, 0.099), (-0.004, -0.048, 1.052)),
    "deutan": ((0.367, 0.861, -0.228), (0.280, 0.673, 0.047), (-0.012, 0.043, 0.969)),
    "tritan": ((1.256, -0.077, -0.179), (-0.078, 0.931, 0.148), (0.005, 0.691, 0.304)),
}


def _linear(colour: Color) -> list[float]:
    shares = (v / 255 for v in colour.rgb)
    return [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in shares]


def _as_seen(colour: Color, kind: str) -> list[float]:
    """Linear RGB as somebody with that kind of colour blindness sees it."""
    rgb = _linear(colour)
    return [min(1.0, max(0.0, sum(m * c for m, c in zip(row, rgb, strict=True)))) for row in _SEEN[kind]]


def _lab(rgb: list[float]) -> tuple[float, float, float]:
    """CIELAB of linear sRGB under D65 (IEC 61966-2-1 and CIE 15)."""
    matrix = ((0.4124, 0.3576, 0.1805), (0.2126, 0.7152, 0.0722), (0.0193, 0.1192, 0.9505))
    white = (0.9505, 1.0, 1.089)
    xyz = [sum(m * c for m, c in zip(row, rgb, strict=True)) for row in matrix]
    f = [t ** (1 / 3) if t > 0.008856 else 7.787 * t + 16 / 116 for t in map(truediv, xyz, white)]
    return 116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])


_XTERM = (
    "#000000 #cd0000 #00cd00 #cdcd00 #0000ee #cd00cd #00cdcd #e5e5e5 "
    "#7f7f7f #ff0000 #00ff00 #ffff00 #5c5cff #ff00ff #00ffff #ffffff"
)
XTERM = {STANDARD_PALETTE[n].hex: shade for n, shade in enumerate(_XTERM.split())}
"""The sixteen colours as a theme names them, and as xterm paints them (its defaults, from memory)."""


@pytest.mark.parametrize("theme", [themes.DARK_16, themes.LIGHT_16], ids=["dark", "light"])
def test_sixteen_colours_are_enough_to_read(theme: Theme) -> None:
    """Nothing is left to the nearest colour (once white on yellow); xterm's own shades are readable too."""
    ground = theme.background
    assert ground is not None
    for name in ("air-in", "air-out", "faint", "loud"):
        ink = theme.variables[name]
        assert _contrast(XTERM[ink], XTERM[ground]) >= 4.5, name
    for name in themes.SLABS:
        text, _, slab = theme.variables[name].partition(" on ")
        assert _contrast(XTERM[text], XTERM[slab]) >= 4.5, name
    assert {c for c in (theme.primary, theme.accent, theme.panel, theme.surface) if c} <= set(XTERM)


def test_a_terminal_of_sixteen_colours_gets_their_themes() -> None:
    assert themes.fitting("standard") == themes.THEMES_16
    assert themes.fitting("truecolor") == themes.fitting("256") == themes.fitting(None) == themes.THEMES


class TestIntents:
    def test_no_key_is_taken_twice(self) -> None:
        keys = [key for intent in INTENTS for key in intent.keys.split(",")]
        assert len(set(keys)) == len(keys)

    def test_names_and_titles_are_different(self) -> None:
        assert len({i.name for i in INTENTS}) == len(INTENTS)
        assert len({i.title for i in INTENTS}) == len(INTENTS)


class TestBetween:
    def test_the_unheard_of_a_round_ended_early_are_counted(self) -> None:
        view = FakeController().between_view()
        bottles = tuple(replace(b, state="unheard", needed=i < 30) for i, b in enumerate(view.bottles))
        facts = betweenmodels.strip(replace(view, bottles=bottles), Level(None, None, "off", "")).facts
        assert facts[0].value == "30 bottles = 30 unheard"


class TestFoot:
    def test_what_is_good_to_know_ends_with_a_whole_item_and_takes_one_row(self) -> None:
        foot, canvas = Foot(), Canvas(30, 2)
        foot.model = (Said("then  C4 ▕▄▏1  G3 ▔  and 4 more", "$faint"),)
        foot.draw(canvas)
        rows = str(canvas.content()).splitlines()
        assert [row.rstrip() for row in rows] == ["  then  C4 ▕▄▏1  G3 ▔", ""]


class TestTally:
    @pytest.mark.parametrize("mode", ["round", "between"])
    @given(data=st.data())
    def test_every_needed_bottle_is_counted_once(self, mode: Mode, data: st.DataObject) -> None:
        view = FakeController().round_view()
        states = st.sampled_from(get_args(State))
        bottles = tuple(
            replace(
                b,
                state=data.draw(states),
                needed=data.draw(st.booleans()),
                place_in_path=data.draw(st.none() | st.integers(1, 40)),
            )
            for b in view.bottles[:8]
        )
        count = replace(view, mode=mode, bottles=bottles).tally
        groups = dataclasses.astuple(count)[1:]
        assert count.everything == sum(groups) == sum(b.needed for b in bottles)

    def test_to_do_is_the_number_of_bottles_with_a_place_on_the_rails(self) -> None:
        view = FakeController().round_view()
        assert view.tally.to_do == max(b.place_in_path or 0 for b in view.bottles)


class TestLetItRing:
    def test_while_a_strike_is_measured_the_large_words_ask_for_quiet(self) -> None:
        """STRIKE read from two metres meanwhile would bring a second strike into the first."""
        view = FakeController().shown
        assert view.reading is not None
        measuring = replace(view.reading, bottle=view.instruction.bottle, final=False)
        assert models.slab(replace(view, reading=measuring)).order == "LET IT RING"
        assert models.slab(replace(view, reading=replace(measuring, final=True))).order != "LET IT RING"
        other = replace(measuring, bottle="G5")
        assert models.slab(replace(view, reading=other)).order != "LET IT RING"

    @pytest.mark.parametrize("act", get_args(Act))
    def test_no_two_orders_share_their_first_word(self, act: Act) -> None:
        """From two metres only the first word is read: PUMP and its opposite must differ in it."""
        orders = {
            a: shown.order(told(a, "A3")).split()[0] for a in get_args(Act) if a not in ("wait", "none")
        }
        assert [a for a, word in orders.items() if word == orders.get(act)] in ([act], [])
