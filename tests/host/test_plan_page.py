"""The page and the sheet of a plan."""

from __future__ import annotations

import html
import re
from xml.etree import ElementTree

import pytest
from plan_tools import planned, run

from bainwright.core.masses import Shown
from bainwright.plan.page import SIZE_IN, _step_list


@pytest.mark.parametrize(("ending", "magic"), [("png", b"\x89PNG"), ("pdf", b"%PDF"), ("svg", b"<?xml")])
def test_sheet_is_written_as_its_ending_says(tmp_path, ending, magic):
    """First bytes as the formats' standards have them."""
    target = tmp_path / f"plan.{ending}"
    code, _ = run("dark", "--total", "2kg", "--page", str(target))
    assert code == 0
    assert target.read_bytes().startswith(magic)


def test_page_is_one_well_formed_picture_and_every_word_of_the_plan(tmp_path):
    """The HTML holds an SVG that parses as XML, and each sentence of the text."""
    target = tmp_path / "plan.html"
    code, said = run("dark", "--total", "2kg", "--room", "24", "--all", "--sources", "--page", str(target))
    page = target.read_text(encoding="utf-8")
    picture = page[page.index("<svg") : page.index("</svg>") + len("</svg>")]
    assert code == 0
    assert ElementTree.fromstring(picture).tag.endswith("svg")
    plain = " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page.replace(picture, ""))).replace("\u00a0", " ").split())
    for paragraph in said.split("\n\n"):
        title, *lines = paragraph.split("\n")
        assert " ".join(" ".join(lines or [title]).split()) in plain


def test_same_plan_same_bytes(tmp_path):
    """No date, no random ids: pages can be compared."""
    pages = []
    for name in ("one.svg", "two.svg"):
        run("milk", "--total", "1kg", "--page", str(tmp_path / name))
        pages.append((tmp_path / name).read_bytes())
    assert pages[0] == pages[1]


class Sheet:
    """A figure that notes where each text stands, from its top or bottom."""

    def __init__(self):
        self.blocks = []

    def text(self, x, y, words, fontsize, va="baseline", **_):
        high = (words.count("\n") + 1) * fontsize * 1.35 / 72.0 / SIZE_IN[1]
        self.blocks.append((x, y, y + high) if va != "top" else (x, y - high, y))


@pytest.mark.parametrize(
    ("kind", "asked"),
    [
        ("dark", {"total": "4kg", "method": "butter", "at": "17:10"}),  # six steps and a caution
        ("milk", {"total": "20kg", "method": "butter", "room": "27", "rig": "plate"}),
        ("melted", {"total": "1kg"}),
    ],
)
def test_nothing_on_the_sheet_is_printed_over_another(kind, asked):
    """A line takes 1.35 times its points, of 72 an inch."""
    made = planned(kind, **asked)
    sheet = Sheet()
    _step_list(sheet, made, Shown(pounds=True, fahrenheit=True))
    for at, (x, bottom, top) in enumerate(sheet.blocks):
        assert bottom > 0.015
        for x2, bottom2, top2 in sheet.blocks[:at]:
            crosses = abs(x - x2) < 0.02 or (min(bottom, bottom2) < 0.06)
            assert not crosses or top <= bottom2 + 0.003 or top2 <= bottom + 0.003
