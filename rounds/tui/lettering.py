"""Large letters, drawn for this tool, to be read at two metres.

A glyph is a small picture of `#` and `.`, rows separated by blanks. Two pixel rows make one
terminal row (half blocks), so a pixel is about square. `TALL` is 7 pixels high (4 rows), `NARROW`
the same height in fewer columns, `SMALL` 5 (3 rows). A text is only ever painted whole: `fit` answers
None when no size holds it, and the widget then falls back to plain bold words rather than to cut letters.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

_TALL = {
    "A": "..#.. .#.#. #...# #...# ##### #...# #...#",
    "B": "####. #...# #...# ####. #...# #...# ####.",
    "C": ".#### #.... #.... #.... #.... #.... .####",
    "D": "####. #...# #...# #...# #...# #...# ####.",
    "E": "##### #.... #.... ####. #.... #.... #####",
    "F": "##### #.... #.... ####. #.... #.... #....",
    "G": ".#### #.... #.... #..## #...# #...# .####",
    "H": "#...# #...# #...# ##### #...# #...# #...#",
    "I": "### .#. .#. .#. .#. .#. ###",
    "J": "..### ...#. ...#. ...#. ...#. #..#. .##..",
    "K": "#...# #..#. #.#.. ##... #.#.. #..#. #...#",
    "L": "#.... #.... #.... #.... #.... #.... #####",
    "M": "#...# ##.## #.#.# #.#.# #...# #...# #...#",
    "N": "#...# ##..# ##..# #.#.# #..## #..## #...#",
    "O": ".###. #...# #...# #...# #...# #...# .###.",
    "P": "####. #...# #...# ####. #.... #.... #....",
    "Q": ".###. #...# #...# #...# #.#.# #..#. .##.#",
    "R": "####. #...# #...# ####. #.#.. #..#. #...#",
    "S": ".#### #.... #.... .###. ....# ....# ####.",
    "T": "##### ..#.. ..#.. ..#.. ..#.. ..#.. ..#..",
    "U": "#...# #...# #...# #...# #...# #...# .###.",
    "V": "#...# #...# #...# #...# .#.#. .#.#. ..#..",
    "W": "#...# #...# #...# #.#.# #.#.# ##.## #...#",
    "X": "#...# #...# .#.#. ..#.. .#.#. #...# #...#",
    "Y": "#...# #...# .#.#. ..#.. ..#.. ..#.. ..#..",
    "Z": "##### ....# ...#. ..#.. .#... #.... #####",
    "b": "#... #... #... ###. #..# #..# ###.",
    "0": ".###. #...# #..## #.#.# ##..# #...# .###.",
    "1": ".#. ##. .#. .#. .#. .#. ###",
    "2": "####. ....# ....# .###. #.... #.... #####",
    "3": "####. ....# ....# .###. ....# ....# ####.",
    "4": "#..#. #..#. #..#. ##### ...#. ...#. ...#.",
    "5": "##### #.... #.... ####. ....# ....# ####.",
    "6": ".###. #.... #.... ####. #...# #...# .###.",
    "7": "##### ....# ....# ...#. ..#.. ..#.. ..#..",
    "8": ".###. #...# #...# .###. #...# #...# .###.",
    "9": ".###. #...# #...# .#### ....# ....# .###.",
    "#": ".#.#. .#.#. ##### .#.#. ##### .#.#. .#.#.",
    "+": "..... ..#.. ..#.. ##### ..#.. ..#.. .....",
    "-": "... ... ... ### ... ... ...",
    "−": "..... ..... ..... ##### ..... ..... .....",
    "±": "..#.. ..#.. ##### ..#.. ..#.. ..... #####",
    ".": ". . . . . . #",
    ",": ".. .. .. .. .. .# #.",
    ":": ". . # . # . .",
    "!": "# # # # # . #",
    "?": "####. ....# ....# ..##. ..#.. ..... ..#..",
    "'": "# # . . . . .",
    "/": "....# ....# ...#. ..#.. .#... #.... #....",
    "=": "..... ..... ##### ..... ##### ..... .....",
    "_": "..... ..... ..... ..... ..... ..... #####",
    " ": ".. .. .. .. .. .. ..",
}

_SMALL = {
    "0": "### #.# #.# #.# ###",
    "1": "##. .#. .#. .#. ###",
    "2": "##. ..# .#. #.. ###",
    "3": "##. ..# .#. ..# ##.",
    "4": "#.# #.# ### ..# ..#",
    "5": "### #.. ##. ..# ##.",
    "6": ".## #.. ### #.# ###",
    "7": "### ..# .#. .#. .#.",
    "8": "### #.# ### #.# ###",
    "9": "### #.# ### ..# ##.",
    "A": ".#. #.# ### #.# #.#",
    "B": "##. #.# ##. #.# ##.",
    "C": ".## #.. #.. #.. .##",
    "D": "##. #.# #.# #.# ##.",
    "E": "### #.. ##. #.. ###",
    "F": "### #.. ##. #.. #..",
    "G": ".## #.. #.# #.# .##",
    "b": "#.. #.. ##. #.# ##.",
    "#": ".#.#. ##### .#.#. ##### .#.#.",
    "+": "... .#. ### .#. ...",
    "−": "... ... ### ... ...",
    "-": "... ... ### ... ...",
    "±": ".#. ### .#. ... ###",
    ".": ". . . . #",
    ":": ". # . # .",
    "?": "##. ..# .#. ... .#.",
    " ": ".. .. .. .. ..",
}

_NARROW = {
    "A": ".#. #.# #.# ### #.# #.# #.#",
    "B": "##. #.# #.# ##. #.# #.# ##.",
    "C": ".## #.. #.. #.. #.. #.. .##",
    "D": "##. #.# #.# #.# #.# #.# ##.",
    "E": "### #.. #.. ##. #.. #.. ###",
    "F": "### #.. #.. ##. #.. #.. #..",
    "G": ".## #.. #.. #.# #.# #.# .##",
    "H": "#.# #.# #.# ### #.# #.# #.#",
    "I": "# # # # # # #",
    "K": "#.# #.# #.# ##. #.# #.# #.#",
    "L": "#.. #.. #.. #.. #.. #.. ###",
    "M": "#...# ##.## #.#.# #.#.# #...# #...# #...#",
    "N": "#..# ##.# ##.# #.## #.## #..# #..#",
    "O": ".#. #.# #.# #.# #.# #.# .#.",
    "P": "##. #.# #.# ##. #.. #.. #..",
    "R": "##. #.# #.# ##. #.# #.# #.#",
    "S": ".## #.. #.. .#. ..# ..# ##.",
    "T": "### .#. .#. .#. .#. .#. .#.",
    "U": "#.# #.# #.# #.# #.# #.# ###",
    "V": "#.# #.# #.# #.# #.# #.# .#.",
    "W": "#...# #...# #...# #.#.# #.#.# ##.## #...#",
    "X": "#.# #.# #.# .#. #.# #.# #.#",
    "Y": "#.# #.# #.# .#. .#. .#. .#.",
    "b": "#.. #.. #.. ##. #.# #.# ##.",
    "0": "### #.# #.# #.# #.# #.# ###",
    "1": ".# ## .# .# .# .# .#",
    "2": "##. ..# ..# .#. #.. #.. ###",
    "3": "##. ..# ..# .#. ..# ..# ##.",
    "4": "#.# #.# #.# ### ..# ..# ..#",
    "5": "### #.. #.. ##. ..# ..# ##.",
    "6": ".## #.. #.. ### #.# #.# ###",
    "7": "### ..# ..# .#. .#. .#. .#.",
    "8": "### #.# #.# ### #.# #.# ###",
    "9": "### #.# #.# ### ..# ..# ##.",
    "#": "..... .#.#. ##### .#.#. ##### .#.#. .....",
    "-": "... ... ... ### ... ... ...",
    "_": "... ... ... ... ... ... ###",
    "/": "..# ..# .#. .#. .#. #.. #..",
    " ": ". . . . . . .",
}

_HALF_BLOCKS = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}


@dataclass(frozen=True)
class Alphabet:
    """Glyphs of one height."""

    height_px: int
    glyphs: Mapping[str, tuple[str, ...]]

    def has(self, text: str) -> bool:
        """Whether every character can be drawn."""
        return all(c in self.glyphs for c in text)

    def width_px(self, text: str) -> int:
        """Pixels from the first to the last column, one blank column between glyphs."""
        return sum(len(self.glyphs[c][0]) + 1 for c in text) - 1 if text else 0


def _alphabet(height_px: int, pictures: Mapping[str, str]) -> Alphabet:
    return Alphabet(height_px, {c: tuple(p.split()) for c, p in pictures.items()})


TALL = _alphabet(7, _TALL)
NARROW = _alphabet(7, _NARROW)
SMALL = _alphabet(5, _SMALL)


@dataclass(frozen=True)
class Lettering:
    """Rows of text ready to paint, all of one width."""

    rows: tuple[str, ...]
    width: int

    @property
    def height(self) -> int:
        """Terminal rows."""
        return len(self.rows)


def draw(text: str, alphabet: Alphabet = TALL, scale: int = 1) -> Lettering:
    """Paint text in half blocks, each pixel `scale` by `scale`.

    Raises:
        KeyError: a character has no glyph; ask `Alphabet.has` first.
    """
    lines = [".".join(alphabet.glyphs[c][y] for c in text) for y in range(alphabet.height_px)]
    wide = ["".join(pixel * scale for pixel in line) for line in lines for _ in range(scale)]
    if len(wide) % 2:
        wide.append("." * len(wide[0]))
    rows = tuple(
        "".join(_HALF_BLOCKS[(up == "#", down == "#")] for up, down in zip(top, bottom, strict=True))
        for top, bottom in zip(wide[::2], wide[1::2], strict=True)
    )
    return Lettering(rows, len(rows[0]))


def fit(
    text: str, width: int, height: int, alphabets: Sequence[Alphabet] = (TALL,), largest: int = 3
) -> Lettering | None:
    """The largest drawing of text inside width by height cells, or None when none fits."""
    for alphabet in alphabets:
        if not text or not alphabet.has(text):
            continue
        for scale in range(largest, 0, -1):
            rows = -(-alphabet.height_px * scale // 2)
            if alphabet.width_px(text) * scale <= width and rows <= height:
                return draw(text, alphabet, scale)
    return None
