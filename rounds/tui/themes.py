"""Three themes of our own: dark, light, and one without colours.

The colours of the standings are far apart for the common kinds of colour blindness (orange against
blue, not red against green), and none carries meaning alone. `rounds-plain` has black, white and
grey only; it is chosen when NO_COLOR is set.
"""

from __future__ import annotations

from textual.theme import Theme

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
        "idle": "#66727a",
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
        "idle": "#85837a",
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

THEMES = (DARK, LIGHT, PLAIN)
NAMES = tuple(theme.name for theme in THEMES)
