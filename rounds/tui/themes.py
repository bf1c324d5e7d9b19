"""Three themes of our own: dark, light, and one without colours.

The colours of the standings are far apart for the common kinds of colour blindness (orange against
blue, not red against green), and none carries meaning alone. `rounds-plain` has black, white and
grey only; it is chosen when NO_COLOR is set.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.theme import Theme

if TYPE_CHECKING:
    from collections.abc import Mapping

DARK = Theme(
    name="rounds-dark",
    primary="#7fb8c9",
    secondary="#5c7a86",
    accent="#e8c66a",
    warning="#e8c66a",
    error="#ff8f6b",
    success="#8fd0a0",
    foreground="#e9e6dd",
    background="#14181b",
    surface="#1b2125",
    panel="#242c31",
    dark=True,
    variables={
        "sharp": "#ff9d5c",
        "flat": "#79b8ff",
        "tuned": "#8fd0a0",
        "doubt": "#d9c35f",
        "unheard": "#c4bfd8",
        "idle": "#7f8b93",
        "wood": "#8b7355",
        "here": "#14181b on #f3efe2",
        "chip": "#14181b on #f3efe2",
        "faint": "#8f9aa1",
        "loud": "#f7f4ea",
        "slab-strike": "#1f4a52",
        "slab-pump": "#6b4713",
        "slab-pin": "#47386f",
        "slab-rest": "#2a3338",
        "slab-text": "#fbf8ee",
        "footer-key-foreground": "#e8c66a",
    },
)

LIGHT = Theme(
    name="rounds-light",
    primary="#23586a",
    secondary="#5d7883",
    accent="#774d00",
    warning="#774d00",
    error="#a63c0d",
    success="#1f6b36",
    foreground="#1d2326",
    background="#f6f3ea",
    surface="#ece8dc",
    panel="#dfdacb",
    dark=False,
    variables={
        "sharp": "#a63c0d",
        "flat": "#0b559f",
        "tuned": "#1f6b36",
        "doubt": "#6f5a00",
        "unheard": "#55466f",
        "idle": "#6a6860",
        "wood": "#a08a68",
        "here": "#f6f3ea on #1d2326",
        "chip": "#f6f3ea on #1d2326",
        "faint": "#595f60",
        "loud": "#101416",
        "slab-strike": "#bfe0e4",
        "slab-pump": "#f6d9a0",
        "slab-pin": "#d9cff2",
        "slab-rest": "#dfdacb",
        "slab-text": "#14181a",
        "footer-key-foreground": "#774d00",
    },
)

PLAIN = Theme(
    name="rounds-plain",
    primary="#ffffff",
    secondary="#bbbbbb",
    accent="#ffffff",
    warning="#ffffff",
    error="#ffffff",
    success="#ffffff",
    foreground="#ffffff",
    background="#000000",
    surface="#000000",
    panel="#1c1c1c",
    dark=True,
    variables={
        "sharp": "#ffffff",
        "flat": "#ffffff",
        "tuned": "#cccccc",
        "doubt": "#ffffff",
        "unheard": "#ffffff",
        "idle": "#8a8a8a",
        "wood": "#8a8a8a",
        "here": "reverse",
        "chip": "reverse",
        "faint": "#b0b0b0",
        "loud": "#ffffff",
        "slab-strike": "#1c1c1c",
        "slab-pump": "#1c1c1c",
        "slab-pin": "#1c1c1c",
        "slab-rest": "#1c1c1c",
        "slab-text": "#ffffff",
        "footer-key-foreground": "#ffffff",
        "block-cursor-text-style": "reverse",
        "button-focus-text-style": "reverse",
    },
)


def _sixteen(
    like: Theme,
    name: str,
    ink: str,
    ground: str,
    accent: str,
    slabs: Mapping[str, str],
    words: Mapping[str, str],
) -> Theme:
    """A theme of nothing but the sixteen colours that every terminal has."""
    faint = dict.fromkeys(("faint", "idle", "loud", "wood", "slab-text", "footer-key-foreground"), ink)
    variables = {**faint, **slabs, **words, "here": f"{ground} on {ink}", "chip": f"{ground} on {ink}"}
    return Theme(
        name=name,
        primary=ink,
        secondary=ink,
        accent=accent,
        warning=accent,
        error=accent,
        success=ink,
        foreground=ink,
        background=ground,
        surface=ground,
        panel=ground,
        dark=like.dark,
        variables=variables,
    )


DARK_16 = _sixteen(
    DARK,
    "rounds-dark-16",
    "#ffffff",
    "#000000",
    "#ffff55",
    {"slab-strike": "#55ffff", "slab-pump": "#ffff55", "slab-pin": "#ff55ff", "slab-rest": "#aaaaaa"},
    {
        "sharp": "#ff5555",
        "flat": "#55ffff",
        "tuned": "#55ff55",
        "doubt": "#ffff55",
        "unheard": "#ff55ff",
        "faint": "#aaaaaa",
        "idle": "#aaaaaa",
        "wood": "#aa5500",
        "slab-text": "#000000",
    },
)
LIGHT_16 = _sixteen(
    LIGHT,
    "rounds-light-16",
    "#000000",
    "#ffffff",
    "#0000aa",
    {"slab-strike": "#55ffff", "slab-pump": "#ffff55", "slab-pin": "#ff55ff", "slab-rest": "#aaaaaa"},
    {"sharp": "#aa0000", "flat": "#0000aa", "tuned": "#000000", "doubt": "#aa0000", "unheard": "#000000"},
)
"""Where a terminal has no more colours, the nearest of sixteen to those above would be white on yellow."""

THEMES = (DARK, LIGHT, PLAIN)
THEMES_16 = (DARK_16, LIGHT_16, PLAIN)


def fitting(color_system: str | None) -> tuple[Theme, ...]:
    """Dark, light and black-and-white, for a terminal with so many colours."""
    return THEMES_16 if color_system == "standard" else THEMES
