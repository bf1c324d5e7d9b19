"""The table of keys in docs/screens.md, written from the table the screens use.

`python -m tests.tui.keys` writes it anew.
"""

from __future__ import annotations

from pathlib import Path

from rounds.tui.intents import INTENTS

PAGE = Path(__file__).parents[2] / "docs" / "screens.md"
START = "test_docs.py -->\n"
END = "<!-- end of keys -->"


def table() -> str:
    """The keys as a table in Markdown."""
    rows = [f"| `{intent.cap}` | {intent.title} | {intent.help} |" for intent in INTENTS]
    return "\n".join(["| key | what | |", "| --- | --- | --- |", *rows]) + "\n"


def written(page: str) -> str:
    """The page with the table of now."""
    head, _, rest = page.partition(START)
    return head + START + table() + END + rest.partition(END)[2]


if __name__ == "__main__":
    PAGE.write_text(written(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
