"""A review as one file to read, send or print: HTML that needs nothing else, or PDF."""

from __future__ import annotations

import html
import re
import textwrap
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from bainwright.core.atomic_write import save_file
from bainwright.core.errors import FileError, UseError
from bainwright.core.read_file import read_bytes, read_text
from bainwright.display.picture import PNG, SVG
from bainwright.review import nights_picture, nights_words
from bainwright.review.hold_list import aligned
from bainwright.review.night import Night
from bainwright.review.night_words import sections
from bainwright.review.nights import compare
from bainwright.what_if import picture as what_if_picture
from bainwright.what_if import words as what_if_words
from bainwright.what_if.choice import Refused, WhatIf
from bainwright.words.section import Section

SUFFIXES = (".html", ".pdf")
PICTURE_BYTES = 4 << 20  # chosen: twenty times a picture of 48 h
A4_IN = (8.27, 11.69)
LINES_ABOVE_PICTURE, LINES_A_PAGE, LETTERS_A_LINE = 35, 66, 104  # of 9 points
TABLE_POINTS, LETTER_SHARE = 500.0, 0.61  # what is left between the margins of A4; width of a letter by its height
STYLE = """
:root { color-scheme: light dark; }
body { font: 16px/1.5 system-ui, sans-serif; max-width: 58rem; margin: 2rem auto; padding: 0 1rem; }
h1 { font-size: 1.6rem; } h2 { font-size: 1.3rem; } h3 { font-size: 1.05rem; margin: 0.8rem 0 0.2rem; }
p { margin: 0.2rem 0; white-space: pre-wrap; } figure { margin: 1rem 0; overflow-x: auto; background: #fffef8; }
svg { width: 100%; min-width: 42rem; height: auto; } .when { opacity: 0.75; }
table { border-collapse: collapse; display: block; overflow-x: auto; font-size: 0.9rem; }
td, th { text-align: left; padding: 0.2rem 0.6rem 0.2rem 0; white-space: nowrap; }
article { content-visibility: auto; contain-intrinsic-size: auto 60rem; }
th:first-child, td:first-child { position: sticky; left: 0; background: Canvas; }
@media print { body { margin: 0; max-width: none; font-size: 10pt; line-height: 1.4; }
  section, tr, figure { break-inside: avoid; } h2 { margin: 0 0 0.4rem; } figure { margin: 0.4rem 0; }
  svg { min-width: 0; max-height: 9cm; } table ~ article { break-before: page; }
  table { display: table; width: 100%; font-size: 7.5pt; }
  td, th { padding: 0.1rem 0.3rem 0.1rem 0; white-space: normal; } }
"""


def check_target(path: Path) -> None:
    """Refuse a report that could not be written as its name asks.

    Raises
    ------
    UseError
        When the name ends in neither ``.html`` nor ``.pdf``.
    """
    if path.suffix.lower() not in SUFFIXES:
        raise UseError(f"--report {path}", wanted="a name that ends in .html or .pdf")


def write(path: Path, nights: Sequence[Night], folders: Sequence[Path], made: datetime,
          tried: WhatIf | Refused | None = None) -> None:
    """Write the report.

    Parameters
    ----------
    path : Path
        Its name decides the format.
    nights : sequence of Night
        The reviews, in the order they are shown.
    folders : sequence of Path
        The folder of each, for its picture.
    made : datetime
        The local time of writing.
    tried : WhatIf or Refused, optional
        What another choice would have changed on a single night.

    Raises
    ------
    FileError
        When the disk does not take it.
    """
    check_target(path)
    if path.suffix.lower() == ".html":
        save_file(path, page(nights, folders, made, tried), what="the report")
    else:
        _write_pdf(path, nights, folders, made, tried)


def _title(night: Night) -> str:
    return f"{night.entry.name}: {night.entry.verdict}" + (" (VIRTUAL)" if night.entry.virtual else "")


def _when(night: Night) -> str:
    started, ended = night.entry.started, night.entry.ended_at
    if started is None:
        return "start not known"
    return started.strftime("%a %d %b %Y, %H:%M") + (ended.strftime(" to %a %d %b, %H:%M %Z") if ended else "")


def page(nights: Sequence[Night], folders: Sequence[Path], made: datetime,
         tried: WhatIf | Refused | None = None) -> str:
    """The report as HTML; every text from a record is escaped, and nothing is fetched from outside."""
    parts = [f"<h1>{_heading(nights)}</h1>", f'<p class="when">Written {made.strftime("%a %d %b %Y, %H:%M %Z")}</p>']
    if len(nights) > 1:
        head, *rows = nights_words.table(nights)
        parts.append("<table><tr>" + "".join(f"<th>{html.escape(cell)}</th>" for cell in head) + "</tr>")
        for row in rows:
            parts.append("<tr>" + "".join(f"<td>{html.escape(cell)}</td>" for cell in row) + "</tr>")
        parts.append("</table>")
        compared = compare(nights)
        parts += map(_section, nights_words.sections(compared))
        parts += [f"<figure>{nights_picture.svg(each)}</figure>" for each in compared]
    for night, folder in zip(nights, folders, strict=True):
        warmer = f", on the warmer {night.entry.warmer!r}" if night.entry.warmer else ""
        parts.append(f"<article><h2>{html.escape(_title(night))}</h2>")
        parts.append(f'<p class="when">{html.escape(_when(night) + warmer)}</p>')
        parts += map(_section, sections(night))
        parts += [_section(what_if_words.section(tried))] if tried else []
        parts += [f"<figure>{what_if_picture.svg(tried)}</figure>"] if isinstance(tried, WhatIf) else []
        parts.append(_picture(folder) + "</article>")
    body = "\n".join(parts)
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{_heading(nights)}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n{body}\n</body>\n</html>\n"
    )


def _section(section: Section) -> str:
    lines = "".join(f"<p>{html.escape(line)}</p>" for line in section.lines)
    return f"<section><h3>{html.escape(section.title)}</h3>{lines}</section>"


def _heading(nights: Sequence[Night]) -> str:
    return "Review of a hold" if len(nights) == 1 else f"Review of {len(nights)} holds"


def _picture(folder: Path) -> str:
    """The stored drawing, set into the page; it is our own file, and anything else in it is dropped."""
    try:
        text = read_text(folder / SVG, "the picture", PICTURE_BYTES, follow=False)
    except FileError:
        return "<p>There is no picture.</p>"
    found = re.search(r"<svg\b.*</svg>", text, re.DOTALL)
    if found is None or re.search(r"<script|<foreignObject|\son\w+\s*=|javascript:", found[0], re.IGNORECASE):
        return "<p>There is no picture.</p>"
    return f"<figure>{found[0]}</figure>"


def _write_pdf(path: Path, nights: Sequence[Night], folders: Sequence[Path], made: datetime,
               tried: WhatIf | Refused | None) -> None:
    import io

    from matplotlib.backends.backend_pdf import PdfPages

    out = io.BytesIO()
    with PdfPages(out, metadata={"Title": _heading(nights), "CreationDate": made}) as pages:
        if len(nights) > 1:
            compared = compare(nights)
            table = aligned(nights_words.table(nights))
            said = _pdf_sections(nights_words.sections(compared))
            for figure in _pdf_table(table, said, made):
                pages.savefig(figure)
            for each in compared:
                drawn = nights_picture.draw(each)
                drawn.set_size_inches(*reversed(A4_IN))
                pages.savefig(drawn)
        for night, folder in zip(nights, folders, strict=True):
            lines = _pdf_lines(night) + (_pdf_sections([what_if_words.section(tried)]) if tried else [])
            *full, last = _pdf_sheets(lines[:-1])  # the last is the space after its section
            if len(last) > LINES_ABOVE_PICTURE:
                full, last = [*full, last], []
            for sheet in full:
                pages.savefig(_pdf_page(sheet, made, None))
            pages.savefig(_pdf_page(last, made, folder / PNG))
        if isinstance(tried, WhatIf):
            pages.savefig(what_if_picture.draw(tried))
    save_file(path, out.getvalue(), what="the report")


def _pdf_lines(night: Night) -> list[str]:
    return [_title(night), _when(night), "", *_pdf_sections(sections(night))]


def _pdf_sheets(lines: Sequence[str]) -> list[Sequence[str]]:
    return [lines[at : at + LINES_A_PAGE] for at in range(0, len(lines), LINES_A_PAGE)]


def _pdf_sections(parts: Sequence[Section]) -> list[str]:
    lines: list[str] = []
    for section in parts:
        lines.append(section.title.upper())
        for line in section.lines:
            lines += textwrap.wrap(line, LETTERS_A_LINE, subsequent_indent="  ") or [""]
        lines.append("")
    return lines


def _pdf_page(lines: Sequence[str], made: datetime, picture: Path | None) -> Any:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=A4_IN)
    FigureCanvasAgg(figure)
    _put(figure, lines)
    figure.text(0.08, 0.03, f"Written {made.strftime('%a %d %b %Y, %H:%M %Z')}", fontsize=8, color="dimgray")
    if picture is not None and picture.is_file():
        axes = figure.add_axes((0.06, 0.06, 0.88, 0.38))
        axes.imshow(_pixels(picture))
        axes.set_axis_off()
    return figure


def _pdf_table(table: Sequence[str], said: Sequence[str], made: datetime) -> list[Any]:
    """Several nights, a line a night as on the terminal, then what is said of them, on as many pages as they take."""
    points = min(9.0, TABLE_POINTS / (LETTER_SHARE * max(map(len, table))))
    figures = []
    for rows in _pdf_sheets(table):
        figures.append(_pdf_page([], made, None))
        _put(figures[-1], rows, points, "DejaVu Sans Mono")
    left = LINES_A_PAGE - 1 - len(rows)
    if len(said) <= left:
        _put(figures[-1], [*[""] * (len(rows) + 1), *said])
    else:
        figures += [_pdf_page(lines, made, None) for lines in _pdf_sheets(said)]
    return figures


def _put(figure: Any, lines: Sequence[str], points: float = 9.0, family: str = "DejaVu Sans") -> None:
    """Lines from the top, as far apart as those of 9 points whatever their size, so that two texts may follow."""
    figure.text(0.08, 0.96, "\n".join(lines), va="top", fontsize=points, family=family, linespacing=1.35 * 9.0 / points,
                parse_math=False)  # fmt: skip


def _pixels(picture: Path) -> Any:
    """The picture's pixels; a white one where the file is damaged."""
    import io

    import matplotlib.image as images
    import numpy as np
    from PIL.Image import DecompressionBombError

    try:
        return images.imread(io.BytesIO(read_bytes(picture, "the picture", PICTURE_BYTES, follow=False)))
    except (FileError, DecompressionBombError, OSError, ValueError, SyntaxError):
        return np.ones((1, 1, 3))
