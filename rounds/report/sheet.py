"""The page of a day as one HTML file: nothing beside it is needed, and it prints on one sheet.

Made from the lines of the Markdown page, which are ours: headings, tables, lists, pictures and paragraphs,
and texts in which a backslash takes the meaning off a sign. Nothing else is read, and every text is escaped
anew.
"""

from __future__ import annotations

import html
import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

STYLE = """
:root { color-scheme: light; }
body { font: 15px/1.4 system-ui, sans-serif; color: #222; max-width: 60em; margin: 1em auto; padding: 0 1em; }
h1 { font-size: 1.5em; margin: 0 0 .2em; } h2 { font-size: 1.1em; margin: 1em 0 .2em; }
p, ul { margin: .3em 0; } ul { padding-left: 1.2em; }
table { border-collapse: collapse; margin: .5em 0; width: 100%; }
th, td { text-align: left; padding: .1em .6em .1em 0; border-bottom: 1px solid #ddd; vertical-align: top; }
.n { text-align: right; } .pictures { display: flex; gap: 1em; flex-wrap: wrap; }
.pictures svg { width: 100%; height: auto; flex: 1 1 25em; }
@page { size: A4; margin: 10mm; }
@media print {
  body { font-size: 7.5pt; line-height: 1.25; max-width: none; margin: 0; padding: 0; }
  table, ul, p { break-inside: avoid; }
  .pictures { flex-wrap: nowrap; } .pictures svg { flex: 1 1 0; width: 48%; max-height: 75mm; }
}
"""
RIGHT = ' class="n"'
_TAKEN_OFF = re.compile(r"\\(.)")
_PICTURE = re.compile(r"!\[(.*)\]\((.*)\)\Z")


def to_html(lines: Iterable[str], pictures: Mapping[str, str], title: str) -> str:
    """One HTML document; `pictures` are SVG texts by the name that the lines call them by."""
    body = "\n".join(_blocks(list(lines), pictures))
    return (
        f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta name="viewport" content="width=device-width">\n<title>{html.escape(title)}</title>\n'
        f"<style>{STYLE}</style>\n</head>\n<body>\n{body}\n</body>\n</html>\n"
    )


def _blocks(lines: list[str], pictures: Mapping[str, str]) -> Iterator[str]:
    at, drawn = 0, [line for line in lines if _PICTURE.match(line)]
    while at < len(lines):
        line = lines[at]
        if line.startswith(("|", "- ")):
            mark = line[0]
            run = list(_run(lines, at, mark))
            yield from _table(run) if mark == "|" else _list(run)
            at += len(run)
            continue
        if drawn and line == drawn[0]:
            yield _drawn(drawn, pictures)
        elif not _PICTURE.match(line) and line.strip():
            yield _plain(line)
        at += 1


def _run(lines: list[str], at: int, mark: str) -> Iterator[str]:
    while at < len(lines) and lines[at].startswith(mark):
        yield lines[at]
        at += 1


def _plain(line: str) -> str:
    for marks, tag in (("## ", "h2"), ("# ", "h1")):
        if line.startswith(marks):
            return f"<{tag}>{_text(line.removeprefix(marks))}</{tag}>"
    return f"<p>{_text(line)}</p>"


def _drawn(drawn: list[str], pictures: Mapping[str, str]) -> str:
    """All pictures side by side, each with what is read out where it cannot be seen."""
    parts = []
    for line in drawn:
        found = _PICTURE.match(line)
        if found is not None and found[2] in pictures:
            svg = re.sub(r"\A<\?xml[^>]*\?>\s*", "", pictures[found[2]])
            parts.append(f'<div role="img" aria-label="{html.escape(_bare(found[1]))}">{svg}</div>')
    return f'<div class="pictures">{"".join(parts)}</div>'


def _list(run: list[str]) -> Iterator[str]:
    yield "<ul>"
    for line in run:
        yield f"<li>{_text(line.removeprefix('- '))}</li>"
    yield "</ul>"


def _table(run: list[str]) -> Iterator[str]:
    """The first line holds the heads, the second which columns stand right."""
    right = [cell.endswith(":") for cell in _cells(run[1])] if len(run) > 1 else []
    yield "<table>"
    for number, line in enumerate(run):
        if number == 1:
            continue
        tag = "td" if number else "th"
        cells = (
            f"<{tag}{RIGHT if at < len(right) and right[at] else ''}>{_text(cell)}</{tag}>"
            for at, cell in enumerate(_cells(line))
        )
        yield f"<tr>{''.join(cells)}</tr>"
    yield "</table>"


def _cells(line: str) -> list[str]:
    return [cell.strip() for cell in re.split(r"(?<!\\)\|", line.strip())[1:-1]]


def _text(text: str) -> str:
    return html.escape(_bare(text))


def _bare(text: str) -> str:
    """A text without the backslashes that Markdown wants."""
    return _TAKEN_OFF.sub(r"\1", text)
