"""What to mind with air under pressure: one set of texts for every face and for docs/safety.md.

The tool advises a count of strokes and knows neither the bottle's past nor the stage. So these
texts never promise that something is safe; they say what to do, and who decides. A test holds
docs/safety.md to these words.
"""

from __future__ import annotations

from dataclasses import dataclass

from rounds.air import DEFAULT_CAUTION_KPA, DEFAULT_CEILING_KPA, kpa_to_psi

CAUTION_PSI = round(kpa_to_psi(DEFAULT_CAUTION_KPA))
CEILING_PSI = round(kpa_to_psi(DEFAULT_CEILING_KPA))


@dataclass(frozen=True)
class Caution:
    """A rule in a few words, and the sentences that explain it."""

    rule: str
    text: str


HEADING = "Air under pressure in plastic can hurt"
OPENING = "Read this once, all of it. {again} shows it again, and so does docs/safety.md."
"""`again`: the key or the word of the face it is shown on."""

CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "These bottles are not pressure vessels.",
        "Nobody rates drink bottles, drilled caps or valves for this. Every figure here is from memory "
        "and none is a guarantee.",
    ),
    Caution(
        "Cover your eyes.",
        "Wear eye protection whenever air goes in or out, you and everyone within reach.",
    ),
    Caution(
        "Never lean over a cap.",
        "Keep face and hands out of the line of cap and base; a cap that lets go flies that way.",
    ),
    Caution(
        "Keep below the ceiling.",
        f"Each bottle has one in the rig file: {CEILING_PSI} psi when you give none, with a warning from "
        f"{CAUTION_PSI} psi. Above it this tool advises no more air. Let the bottle down a little, and use "
        "a smaller or stiffer bottle for that note. Use a pump with a gauge, and believe the gauge.",
    ),
    Caution(
        "Warped, crazed or scratched: out.",
        "Look at bottle and cap before each filling. White lines, bulges, dents, a cap that turns or hisses: "
        "let it down fully and replace it. Caps age faster than bottles.",
    ),
    Caution(
        "Let the air out before transport, and keep from heat.",
        "Sun, stage lights and a parked car raise the pressure and soften the plastic.",
    ),
    Caution(
        "Protect your hearing.",
        "A bottle that bursts is as loud as a shot, and an hour of mallets close by adds up.",
    ),
    Caution(
        "The venue's and local rules come first.",
        "Where they say less pressure, a screen, or none of this, do as they say.",
    ),
    Caution(
        "A competent person decides.",
        "Let someone who knows pressure equipment look at your rig before others stand near it. This tool "
        "cannot see a crack.",
    ),
)

ACCEPT = "I have read this and decide for myself"


def sentences(again: str) -> tuple[str, ...]:
    """All cautions as sentences, for a screen reader or a terminal without screens."""
    return (f"{HEADING}.", OPENING.format(again=again), *(f"{c.rule} {c.text}" for c in CAUTIONS))
