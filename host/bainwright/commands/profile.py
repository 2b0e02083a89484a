"""`bain profile`: the options, and what comes out of them."""

from __future__ import annotations

from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import click

from bainwright.commands import console, options
from bainwright.commands.console import show_result
from bainwright.commands.usage import Commands, Number


@click.group(cls=Commands, short_help="Chocolates: list, show, make, send to a board.")
def profile() -> None:
    """Chocolates: show them, make one from the chart on its bag, send them to a board and read them back."""


@profile.command("list", short_help="List the chocolates, here or on a board.")
@click.option("--on-board", is_flag=True, help="The chocolates stored on a board.")
@options.board
@options.json
def list_(on_board: bool, port: str | None, virtual: str | None, as_json: bool) -> int:
    """List the bundled chocolates, or with --port, --virtual or --on-board those stored on a board."""
    if not (on_board or port or virtual):
        rows = [_row(name) for name in _bundled()]
        lines = [f"{row['name']:<18} {row['low_c']:g} to {row['high_c']:g} °C" for row in rows]
    else:
        from bainwright.chocolates.board import stored_profiles
        from bainwright.virtual.opening import open_stored

        with open_stored(port, virtual) as session:
            rows = [asdict(each) for each in stored_profiles(session.link, session.link.hello())]
        lines = [f"{at}  {row['name']}{'   (chosen)' if row['chosen'] else ''}" for at, row in enumerate(rows, 1)]
        lines = lines or ["none: bain profile send NAME brings one"]
    show_result(rows, lines, as_json)
    return 0


@profile.command(short_help="Show a chocolate's figures and their sources.")
@click.argument("chocolate", metavar="PROFILE")
@options.fahrenheit
@options.json
def show(chocolate: str, fahrenheit: bool, as_json: bool) -> int:
    """Show a chocolate's figures, their sources, and its temperature through an evening."""
    from bainwright.chocolates.shown import lines_of
    from bainwright.chocolates.warnings import unusual_figures
    from bainwright.core.masses import Shown
    from bainwright.files.chocolate import load_profile

    p = load_profile(chocolate)
    lines = lines_of(p, Shown(fahrenheit))
    more = {"of": p.of, "note": p.note, "source": p.source, "unusual": unusual_figures(p)}
    show_result({**p.document(), **more}, lines, as_json)
    return 0


@profile.command(short_help="Check that a chocolate's figures are possible.")
@click.argument("chocolate", metavar="PROFILE")
@options.json
def check(chocolate: str, as_json: bool) -> int:
    """Check that a chocolate's figures are possible and agree; unusual ones are named and accepted."""
    from bainwright.chocolates.warnings import unusual_figures
    from bainwright.files.chocolate import load_profile

    p = load_profile(chocolate)
    found = unusual_figures(p)
    show_result({"name": p.name, "ok": True, "unusual": found},
                [f"{p.name}: its figures are possible", *(f"unusual: {text}" for text in found)], as_json)
    return 0


@profile.command(short_help="Make a chocolate from the chart on its bag.")
@click.argument("name", required=False)
@click.option("--kind", metavar="KIND", help="dark, milk, white, ruby, caramelised_white or melted; asked for.")
@click.option("--of", metavar="KIND", help="For melted stock: of which kind it is; milk if unknown.")
@click.option("--low", metavar="TEMP", help="Low end of the working window: 31 or 88F; asked for.")
@click.option("--high", metavar="TEMP", help="High end of the working window; asked for.")
@click.option("--target", metavar="TEMP", help="What it is held at.  [default: the middle of the window]")
@click.option("--melt", metavar="TEMP", help="What it is melted at; asked for.")
@click.option("--ceiling", metavar="TEMP", help="The warmest the bowl's wall may be.  [default: by kind]")
@click.option("--never-above", metavar="TEMP", help="Never above, not even while melting.  [default: by kind]")
@click.option("--set-min", type=Number(), metavar="MIN",
              help="Minutes within which a test piece in temper sets.  [default: by kind]")
@click.option("--fail-min", type=Number(), metavar="MIN",
              help="Minutes after which a piece that has not set is out of temper.  [default: by kind]")
@click.option("--note", metavar="TEXT", help="Anything to remember.")
@click.option("--out", metavar="FILE", help="The file to write.  [default: NAME.toml]")
@options.json
def new(as_json: bool, **asked: Any) -> int:
    """Make a chocolate from the figures on its bag.

    It asks for what you leave out. Without a terminal, name, window and kind must be given as options.
    """
    from bainwright.chocolates.new import NewOptions, make
    from bainwright.chocolates.warnings import unusual_figures
    from bainwright.core.errors import BACK

    given = NewOptions(**asked)
    if console.is_asked():
        console.remark(f"{BACK} as an answer: the question before it again")
        path, made = console.with_steps_back(lambda ask: make(given, ask))
    else:
        path, made = make(given, None)
    found = unusual_figures(made)
    for text in found:
        console.remark(f"unusual: {text}")
    result = {"file": str(path), **made.document(), "unusual": found}
    show_result(result, [f"{path} is written. Hold it with: bain hold {path}"], as_json)
    return 0


@profile.command(short_help="Send chocolates to a board.")
@click.argument("chocolates", metavar="PROFILE...", nargs=-1, required=True)
@options.board
@options.json
def send(chocolates: tuple[str, ...], port: str | None, virtual: str | None, as_json: bool) -> int:
    """Send chocolates to an idle board and read each back. It stores six; the last one sent is chosen."""
    from bainwright.chocolates import board
    from bainwright.files.chocolate import load_profile
    from bainwright.virtual.opening import open_stored

    profiles = [load_profile(each) for each in chocolates]  # all of them, before the board is touched
    with open_stored(port, virtual) as session:
        session.link.hello()
        sent = board.send(session.link, profiles)
    show_result({"sent": [each.name for each in profiles]}, [f"sent and read back: {', '.join(sent)}"], as_json)
    return 0


@profile.command(short_help="Show a chocolate as a board has it.")
@click.argument("name", required=False)
@options.board
@click.option("--out", metavar="FILE", help="Write it to this file, which may be edited and sent.")
@options.fahrenheit
@options.json
def get(name: str | None, port: str | None, virtual: str | None, out: str | None, fahrenheit: bool,
        as_json: bool) -> int:  # fmt: skip
    """Show a chocolate as a board has it stored: the one of that name, or the chosen one."""
    from bainwright.chocolates.board import fetch
    from bainwright.chocolates.shown import lines_of
    from bainwright.chocolates.text import file_of, toml
    from bainwright.core.atomic_write import save_file
    from bainwright.core.errors import UseError
    from bainwright.core.masses import Shown
    from bainwright.files.chocolate import parse_profile
    from bainwright.virtual.opening import open_stored

    if out and Path(out).exists():
        raise UseError(f"{out} already exists", hint="name another file; a chocolate is never overwritten")
    with open_stored(port, virtual) as session:
        values = fetch(session.link, session.link.hello(), name)
    doc = file_of(values)
    stored = replace(parse_profile(doc, "the board's chocolate"), source="")  # a board has figures alone
    lines = lines_of(stored, Shown(fahrenheit))
    if out:
        save_file(Path(out), toml(doc), what="the chocolate's file")
        lines = [f"Written to {out}: bain profile check {out} checks a change."]
    show_result(values, lines, as_json)
    return 0


@profile.command(short_help="Choose what a board starts at its buttons.")
@click.argument("name")
@options.board
@options.json
def use(name: str, port: str | None, virtual: str | None, as_json: bool) -> int:
    """Choose which of its chocolates a board starts with when its buttons are pressed."""
    from bainwright.chocolates.board import named
    from bainwright.virtual.opening import open_stored

    with open_stored(port, virtual) as session:
        session.link.hello()
        name = named(session.link, name)
        session.link.request("use", name=name)
    show_result({"chosen": name}, [f"{name} is chosen: press yes twice on the warmer to start it"], as_json)
    return 0


@profile.command(short_help="Short pages: seed, thick, setting, moulds and more.")
@click.argument("topic", required=False)
@options.json
def about(topic: str | None, as_json: bool) -> int:
    """Show a short page on a question of the kitchen; without TOPIC, list them."""
    from bainwright.chocolates.pages import PAGES, marks
    from bainwright.core.errors import UseError
    from bainwright.core.toml import close_match
    from bainwright.plan.say import WIDTH, filled

    if topic is None:
        titles = {name: page.title for name, page in PAGES.items()}
        show_result(titles, [f"{name:<9} {title}" for name, title in titles.items()], as_json)
        return 0
    page = PAGES.get(topic.lower())
    if page is None:
        hint = close_match(topic.lower(), PAGES)
        raise UseError(f"no page {topic!r}", wanted="one of " + ", ".join(PAGES), hint=hint)
    mark = marks(topic.lower())
    lines = [page.title, *(filled(line, WIDTH, "  ") for line in page.lines), filled(f"({mark})", WIDTH, "  ")]
    show_result({"topic": topic.lower(), "title": page.title, "lines": page.lines, "mark": mark}, lines, as_json)
    return 0


def _bundled() -> list[str]:
    from bainwright.files.chocolate import bundled_profiles

    return bundled_profiles()


def _row(name: str) -> dict[str, Any]:
    from bainwright.files.chocolate import load_profile

    return {**load_profile(name).document(), "name": name}
