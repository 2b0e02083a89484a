"""The pages say what the code does: golden bytes are cited to the letter, and commands named in them exist."""

from __future__ import annotations

import re
import runpy
from pathlib import Path

import click
import pytest

from bainwright.cli import bain

ROOT = Path(__file__).parents[2]
GOLDEN = runpy.run_path(str(ROOT / "tests" / "firmware" / "golden.py"))["LINES"]
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "hardware").glob("*.md"))]


@pytest.mark.parametrize(("what", "line"), GOLDEN, ids=[what for what, _ in GOLDEN])
def test_each_golden_line_is_cited_in_the_developers_page(what, line):
    assert line.decode().strip() in (ROOT / "DEVELOPERS.md").read_text(), what


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_each_command_a_page_names_exists_with_its_options(page):
    for name, rest in re.findall(r"\bbain ([a-z]+)((?: [^`\n]*)?)", page.read_text()):
        assert name in bain.commands, f"{page.name} names bain {name}"
        command = bain.commands[name]
        if isinstance(command, click.Group) and (inner := re.match(r" ([a-z]+)\b", rest)):
            assert inner[1] in command.commands, f"{page.name} names bain {name} {inner[1]}"
            command = command.commands[inner[1]]
        known = {option for each in command.params for option in each.opts}
        for option in re.findall(r"(?<=\s)--[a-z-]+", rest):
            assert option in known | {"--help"}, f"{page.name}: bain {name}{rest}: {option}"


def test_the_readme_s_two_commands_are_marked_for_ci():
    text = (ROOT / "README.md").read_text()
    assert re.search(r"<!-- command: demo -->\n    python3\.11 .*bain hold dark --virtual\n", text)
    assert re.search(r"<!-- command: tests -->\n    python3\.11 .*pytest\n", text)
