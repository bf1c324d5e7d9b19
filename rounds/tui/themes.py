"""Three themes of our own: dark, light, and one without colours, the first two also in sixteen colours.

Two hues and a reversal: straw where air goes in, iris where air comes out, a reversed slab where the screen
needs an answer; all else is ink or faint ink. The two hues stay apart for the common kinds of colour
blindness, and none carries meaning alone. `rounds-plain` has black, white and grey only; it is chosen when
NO_COLOR is set.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.theme import Theme

if TYPE_CHECKING:
    from collections.abc import Mapping

SLABS = ("slab-strike", "slab-pump", "slab-out", "slab-rest", "slab-ask", "label")
"""Variables that are an ink on a ground."""


def _theme(
    name: str,
    ink: str,
    faint: str,
    straw: str,
    iris: str,
    ground: str,
    panel: str,
    rail: str,
    slabs: Mapping[str, str],
    *,
    dark: bool,
) -> Theme:
    return Theme(
        name=name,
        primary=ink,
        secondary=faint,
        accent=straw,
        warning=ink,
        error=ink,
        success=ink,
        foreground=ink,
        background=ground,
        surface=panel,
        panel=panel,
        dark=dark,
        variables={
            "air-in": straw,
            "air-out": iris,
            "faint": faint,
            "loud": ink,
            "rail": rail,
            "footer-key-foreground": straw,
            **slabs,
        },
    )


DARK = _theme(
    "rounds-dark",
    ink="#ece5d8",
    faint="#a0978a",
    straw="#f2c14e",
    iris="#bfa8ff",
    ground="#161412",
    panel="#25211d",
    rail="#7d6a52",
    slabs={
        "slab-strike": "#f4f1ea on #3d4348",
        "slab-pump": "#fff7e4 on #6a4a00",
        "slab-out": "#f6f1ff on #43307a",
        "slab-rest": "#f4f1ea on #2b3034",
        "slab-ask": "#161412 on #ece5d8",
        "label": "#161412 on #ece5d8",
    },
    dark=True,
)
LIGHT = _theme(
    "rounds-light",
    ink="#221d17",
    faint="#5f594e",
    straw="#7a4a00",
    iris="#4a2fa0",
    ground="#faf6ec",
    panel="#e9e1d0",
    rail="#8f7a55",
    slabs={
        "slab-strike": "#1d1914 on #d3d8da",
        "slab-pump": "#1d1914 on #f3d48a",
        "slab-out": "#1d1914 on #d8ccf5",
        "slab-rest": "#1d1914 on #e9e1d0",
        "slab-ask": "#faf6ec on #221d17",
        "label": "#faf6ec on #221d17",
    },
    dark=False,
)
PLAIN = _theme(
    "rounds-plain",
    ink="#ffffff",
    faint="#b0b0b0",
    straw="#ffffff",
    iris="#ffffff",
    ground="#000000",
    panel="#1c1c1c",
    rail="#8a8a8a",
    slabs={
        **dict.fromkeys(("slab-strike", "slab-pump", "slab-out", "slab-rest"), "#ffffff on #1c1c1c"),
        "slab-ask": "reverse",
        "label": "reverse",
        "block-cursor-text-style": "reverse",
        "button-focus-text-style": "reverse",
    },
    dark=True,
)
DARK_16 = _theme(
    "rounds-dark-16",
    ink="#ffffff",
    faint="#aaaaaa",
    straw="#ffff55",
    iris="#ff55ff",
    ground="#000000",
    panel="#000000",
    rail="#aa5500",
    slabs={
        "slab-strike": "#000000 on #aaaaaa",
        "slab-pump": "#000000 on #ffff55",
        "slab-out": "#000000 on #ff55ff",
        "slab-rest": "#ffffff on #000000",
        "slab-ask": "#000000 on #ffffff",
        "label": "#000000 on #ffffff",
    },
    dark=True,
)
LIGHT_16 = _theme(
    "rounds-light-16",
    ink="#000000",
    faint="#000000",
    straw="#000000",
    iris="#000000",
    ground="#ffffff",
    panel="#ffffff",
    rail="#aa5500",
    slabs={
        "slab-strike": "#000000 on #aaaaaa",
        "slab-pump": "#000000 on #ffff55",
        "slab-out": "#000000 on #ff55ff",
        "slab-rest": "#000000 on #ffffff",
        "slab-ask": "#ffffff on #000000",
        "label": "#ffffff on #000000",
    },
    dark=False,
)
"""On white the bright hues cannot be read as text: they are grounds only, and shapes and words remain."""

THEMES = (DARK, LIGHT, PLAIN)
THEMES_16 = (DARK_16, LIGHT_16, PLAIN)
NAMES = ("dark", "light", "plain")
"""What the settings call them."""


def fitting(color_system: str | None) -> tuple[Theme, ...]:
    """Dark, light and black-and-white, for a terminal with so many colours."""
    return THEMES_16 if color_system == "standard" else THEMES


def named(name: str, themes: tuple[Theme, ...]) -> Theme:
    """The theme that a setting names: `dark`, `light` or `plain`."""
    return themes[NAMES.index(name)]
