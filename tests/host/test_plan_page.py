"""The page and the sheet of a plan."""

from __future__ import annotations

import html
import re
from xml.etree import ElementTree

import pytest
from plan_tools import run


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
