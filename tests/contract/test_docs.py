"""The pages say what the code does: golden bytes are cited to the letter, and commands named in them exist."""

from __future__ import annotations

import os
import re
import runpy
import subprocess
import sys
from pathlib import Path

import click
import doc_tables
import pytest

from bainboard import wire
from bainwright.commands.group import bain

ROOT = Path(__file__).parents[2]
_GOLDEN = runpy.run_path(str(ROOT / "tests" / "firmware" / "golden.py"))
GOLDEN, FRAMES = _GOLDEN["LINES"], _GOLDEN["FRAMES"]
WIRE = ROOT / "firmware" / "WIRE.md"
PAGES = [
    ROOT / "README.md", ROOT / "DEVELOPERS.md", WIRE, ROOT / "firmware" / "FLASH.md",
    ROOT / "firmware" / "SAFETY-RULES.md", ROOT / "host" / "INSTALL.md", ROOT / "host" / "PAGE.md",
    ROOT / "host" / "PAGE-ATTACKS.md", ROOT / "host" / "ARCHIVE.md", ROOT / "tests" / "bench" / "RESULTS.md",
    *sorted((ROOT / "hardware").glob("*.md")),
]  # fmt: skip


@pytest.mark.parametrize(("what", "line"), GOLDEN, ids=[what for what, _ in GOLDEN])
def test_each_golden_line_is_cited_in_the_wire_s_page(what, line):
    assert line.decode().strip() in WIRE.read_text(), what


def test_the_wire_s_page_describes_each_field_of_the_status_line_in_its_order():
    table = WIRE.read_text().partition("| field | meaning |")[2].partition("\n\n")[0]
    cited = re.findall("`([a-z_]+)`", "".join(line.split("|")[1] for line in table.splitlines()[2:]))
    assert cited == [name for name, _ in wire.STATUS]


@pytest.mark.parametrize("frame", FRAMES, ids=[row[0] for row in FRAMES])
def test_each_golden_frame_is_cited_in_the_flash_s_page(frame):
    assert frame[-1] in (ROOT / "firmware" / "FLASH.md").read_text()


@pytest.mark.parametrize("name", doc_tables.PAGES)
def test_each_table_is_what_the_code_says(name):
    text = (ROOT / name).read_text()
    assert doc_tables.BLOCK.search(text), f"{name} has no table from code"
    assert doc_tables.written(text) == text, "run: python tests/contract/doc_tables.py"


def test_a_table_that_differs_from_the_code_is_seen():
    stale = "<!-- table: faults -->\n| 1 | `no_such_fault` |\n<!-- end of table -->"
    assert doc_tables.written(stale) != stale


def test_every_module_of_the_board_is_in_the_map():
    text = (ROOT / "DEVELOPERS.md").read_text()
    modules = {path.stem for path in (ROOT / "firmware").rglob("*.py") if path.parent.name in ("firmware", "bainboard")}
    assert sorted(name for name in modules - {"__init__"} if f"`{name}`" not in text) == []


@pytest.mark.parametrize(("page", "most_words", "most_bytes"), [
    ("README.md", 900, 9_000), ("DEVELOPERS.md", 3_000, 15_360),
])  # fmt: skip
def test_the_front_pages_stay_short(page, most_words, most_bytes):
    text = (ROOT / page).read_text()
    words = [each for each in text.split() if any(letter.isalnum() for letter in each)]
    assert len(words) <= most_words
    assert len(text.encode()) <= most_bytes


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_lines_wrap_at_120_letters(page):
    inside, long = False, []
    for number, line in enumerate(page.read_text().splitlines(), 1):
        inside ^= line.startswith("```")
        if len(line) > 120 and not inside and not line.startswith(("|", "    ", "<", "- [", "![")):
            long.append(number)
    assert long == []


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


@pytest.mark.slow
def test_the_readme_s_demo_runs_as_typed_once_it_is_set_up(tmp_path):
    """The setting up in front of it is what CI and the test command do anyway."""
    line = re.search(r"<!-- command: demo -->\n    (.*)\n", (ROOT / "README.md").read_text())[1]
    *_, demo = line.split(" && ")
    program, *words = demo.split()
    assert program == ".venv/bin/bain"
    path = os.pathsep.join(str(ROOT / folder) for folder in ("firmware", "host"))
    done = subprocess.run(
        [sys.executable, "-m", "bainwright", *words], cwd=tmp_path, capture_output=True, text=True, check=False,
        env={**os.environ, "PYTHONPATH": path},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "VIRTUAL" in done.stdout
    assert {"hold.csv", "hold.json", "hold.png"} <= {path.name for path in tmp_path.glob("holds/*/*")}
    assert all(path.stat().st_size > 10_000 for path in tmp_path.glob("holds/*/hold.png"))  # it is drawn
