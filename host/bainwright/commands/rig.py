"""`bain rig`: the options, and what comes out of them."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from bainwright.commands import console, options
from bainwright.commands.console import remark, show_result
from bainwright.commands.usage import Commands
from bainwright.core.terminal import drawing

_KINDS = "onewire, ntc or platinum"


@click.group(cls=Commands, short_help="Your warmer's file: write, check, send to its board.")
def rig() -> None:
    """Your warmer as built: write its file, check it, send it to the board and read it back."""


@rig.command(short_help="Write a rig file by answering questions.")
@click.argument("file", metavar="[FILE]", required=False)
@options.port
@click.option("--virtual", metavar="[RIG]", is_flag=False, flag_value="pot", help="Look at a simulated board.")
@click.option("--no-board", is_flag=True, help="Look at no board: the probes' ids stay open.")
@click.option("--name", metavar="TEXT", help="What the warmer is called.")
@click.option("--board", metavar="KIND", help="pico, pico2 or esp32.  [default: the one plugged in]")
@click.option("--build", metavar="mat|pot|plate", help="Built by a guide of hardware/: takes its figures.")
@click.option("--heater-w", metavar="W", help="The heater's power.")
@click.option("--heater-lag-s", metavar="S", help="Seconds until heat reaches the water.")
@click.option("--switch", metavar="KIND", help="zero_cross for a relay on the mains, dc for a MOSFET.")
@click.option("--water-l", metavar="L", help="Water in the bath.")
@click.option("--bowl-kg", metavar="KG", help="The empty bowl.")
@click.option("--chocolate-kg", metavar="KG", help="Chocolate in the full bowl.")
@click.option("--bath", metavar="water|plate", help="Does the bowl sit in water or on a plate?")
@click.option("--pot-width", metavar="WIDTH", help="Inside the pot, at the water: 28cm or 11in.")
@click.option("--cover", metavar="PERCENT", help="How much of the water round the bowl is covered.")
@click.option("--hard-limit-c", metavar="C",
              help="Water above this trips: the heat stays off until a person clears it.")
@click.option("--water-probe", metavar="KIND", help=f"{_KINDS}.")
@click.option("--bowl-probe", metavar="KIND", help=f"none, {_KINDS}.")
@click.option("--bowl-offset-c", metavar="C", help="Water over chocolate in a steady hold, with no probe in it.")
@click.option("--water2-probe", metavar="KIND", help="none or onewire: a second probe in the water, as a witness.")
@click.option("--water-id", metavar="ID", help="The water probe's 1-wire id.  [default: found by warming it]")
@click.option("--bowl-id", metavar="ID", help="The chocolate probe's 1-wire id.")
@click.option("--water2-id", metavar="ID", help="The second water probe's 1-wire id.")
@click.option("--guard", metavar="yes|no", help="Is a guard relay in series with the switch?")
@click.option("--float", metavar="yes|no", help="Does a float open the guard relay when the water is low?")
@click.option("--panel", metavar="yes|no", help="Are buttons, lamps and buzzer fitted?")
@click.option("--display", metavar="yes|no", help="Is a display of 128 x 64 fitted?")
@click.option("--pin", "pins", metavar="NAME=GPIO", multiple=True, help="A pin that is wired elsewhere than usual.")
@click.option("--defaults", is_flag=True, help="Ask nothing; take the default for what is not given.")
@options.json
def new(file: str | None, port: str | None, virtual: str | None, no_board: bool, pins: tuple[str, ...],
        defaults: bool, as_json: bool, **answers: str | None) -> int:  # fmt: skip
    """Write a rig file by answering questions.

    FILE is my_warmer.toml by default. Probes on the board's 1-wire bus are found, and you show which is which by
    warming one in your hand. Every question has an option; without a terminal, what only you can measure must be
    given. If it is interrupted, run the same command again: it resumes.
    """
    from bainwright.core.errors import BainError, UseError
    from bainwright.rigs import wizard as wizards
    from bainwright.rigs.questions import QUESTIONS, option, value_of
    from bainwright.rigs.warnings import unusual_figures

    out = Path(file or "my_warmer.toml")
    if out.exists():
        raise UseError(f"{out} exists, and a rig is never overwritten", hint="name another file")
    if not out.parent.is_dir():
        raise UseError(f"there is no folder {out.parent}", hint="make it, or name another file")
    names = {option(each.name): each.name for each in QUESTIONS}
    names |= {option(f"probe.{place}.rom"): f"probe.{place}.rom" for place in wizards.PLACES}
    typed = {names.get("--" + name.replace("_", "-"), name): text for name, text in answers.items() if text is not None}
    given = {name: value_of(name, text) for name, text in typed.items()}
    if pins:
        given["pins"] = " ".join(f"{name}={gpio}" for name, gpio in wizards.moved_pins(list(pins)).items())
    ask = console.ask_line if console.is_asked() else None
    wizard = wizards.Wizard(given, ask, remark, defaults, out.with_name(out.name + ".answers"))
    with _bus_and_hand(port, virtual, no_board, person=ask is not None and not defaults) as (bus, warmed):
        wizard.resume()
        try:
            made = wizards.make(wizard, bus, warmed, out)
        except (BainError, click.Abort, KeyboardInterrupt):
            if wizard.answers:
                remark(f"the answers are stored in {wizard.answers_file}: the same command resumes; delete the file to "
                       "start over")  # fmt: skip
            raise
    found = unusual_figures(made)
    for text in found:
        remark(f"unusual: {text}")
    show_result({"file": str(out), "settings": dict(made.written), "unusual": found},
                [f"{out} is written. Send it to the board with: bain rig send {out}"], as_json)  # fmt: skip
    return 0


@rig.command(short_help="Show a rig as a table.")
@click.argument("rig_file", metavar="FILE|RIG")
@options.json
def show(rig_file: str, as_json: bool) -> int:
    """Show a rig as a table.

    Each setting with its value, unit, range and meaning; then where things are wired. A value in brackets is a default:
    the file does not give it.
    """
    from bainwright.files.pinout import BOARDS, map_of
    from bainwright.files.rig import load_rig
    from bainwright.rigs.figures import figures
    from bainwright.rigs.wizard import pin_lines

    r = load_rig(rig_file)
    table = figures(r.settings, r.written)
    vessels = {name: vessel.changes() for name, vessel in r.vessels.items()}
    lines = [f"{r.name} ({r.source})", ""]
    lines += [line for figure in table for line in figure.lines(console.columns())] + [""]
    if r.settings["board"] in BOARDS:
        lines += [f"Pins on a {BOARDS[r.settings['board']]}:", *pin_lines(r.settings)]
    lines += [f"vessel {name}: " + ", ".join(f"{key} = {value:g}" for key, value in changes.items())
              for name, changes in vessels.items()]  # fmt: skip
    show_result({"name": r.name, "source": r.source, "settings": [asdict(figure) for figure in table],
                 "pins": map_of(r.settings), "vessels": vessels}, lines, as_json)  # fmt: skip
    return 0


@rig.command(short_help="Check a rig, alone or with its board.")
@click.argument("rig_file", metavar="FILE|RIG")
@click.option("--port", metavar="PORT", help="Compare it with the board on this port as well.")
@options.json
def check(rig_file: str, port: str | None, as_json: bool) -> int:
    """Check a rig as a whole: its figures, pins and probes.

    What is only unusual is named and accepted. Exit status 1 says that it does not match the board.
    """
    from bainwright.core.errors import RefusedError
    from bainwright.files.rig import load_rig
    from bainwright.rigs import bus
    from bainwright.rigs.board import differences
    from bainwright.rigs.warnings import check_ids, on_board, unusual_figures
    from bainwright.virtual.opening import open_board

    r = load_rig(rig_file)
    check_ids(r)
    found, wrong = unusual_figures(r), []
    if port:
        with open_board(port) as session:
            hello = session.link.hello()
            there = bus.look(session.link)
            wrong = differences(hello, session.link.settings(hello), r)
            found += [] if hello.get("settings") else [f"the board has no settings yet: bain rig send {r.source}"]
        if r.settings["board"] not in ("any", there.kind):
            raise RefusedError(f"rig {r.source} is for another board", got=r.settings["board"], wanted=there.kind,
                               hint="check the port, or write a file for this board with bain rig new")  # fmt: skip
        wrong += on_board(r.settings, there.probes)
    verdict = "it does not match the board" if wrong else "its figures agree" + (" and match the board" if port else "")
    show_result({"name": r.name, "ok": not wrong, "unusual": found, "wrong": wrong},
                [f"{r.name}: {verdict}.", *(f"unusual: {text}" for text in found),
                 *(f"wrong: {text}" for text in wrong)], as_json)  # fmt: skip
    return 1 if wrong else 0


@rig.command(short_help="Send a rig to a board.")
@click.argument("rig_file", metavar="FILE|RIG")
@options.vessel
@options.board
@options.json
def send(rig_file: str, vessel: str | None, port: str | None, virtual: str | None, as_json: bool) -> int:
    """Send a rig to an idle board, and read it back.

    It then looks whether the probes answer that the rig names. Exit status 1 says that one does not.
    """
    from bainwright.drill.overnight_permit import cutoff_status
    from bainwright.files.rig import load_rig
    from bainwright.rigs import board, bus
    from bainwright.rigs.warnings import check_ids, on_board
    from bainwright.virtual.opening import open_stored

    r = load_rig(rig_file)
    r = r.with_vessel(vessel) if vessel else r
    check_ids(r)  # before the board is touched
    with open_stored(port, virtual) as session:
        hello = session.link.hello()
        before = str(hello["name"])
        # The file's own line may be another warmer's, or of before the wiring changed: only this board's record counts.
        if not session.simulated:
            drilled = cutoff_status(r.settings, False, False, board=str(hello["board"]),
                                    firmware=str(hello.get("version")))  # fmt: skip
            r = r.with_settings({"drill": drilled})
        changed = board.send(session.link, r)
        # The clock of a simulated board that only lends its flash does not run: no probe of it ever answers.
        wrong = [] if session.virtual else on_board(r.settings, bus.look(session.link).probes)
    what = (", ".join(changed) or "nothing") + (f". Until now it was {before!r}" if "name" in changed else "")
    show_result({"name": r.name, "changed": changed, "wrong": wrong},
                [f"{r.name}: sent and read back; changed: {what}", *(f"wrong: {text}" for text in wrong)],
                as_json)  # fmt: skip
    return 1 if wrong else 0


@rig.command(short_help="Read a board's rig back as a file.")
@options.board
@click.option("--out", metavar="FILE", help="Write it into this file.")
@options.json
def get(port: str | None, virtual: str | None, out: str | None, as_json: bool) -> int:
    """Read a board's rig back as a file.

    A file's vessels and its [plant] table never go to a board, so they do not come back.
    """
    from bainwright.core.atomic_write import save_file
    from bainwright.core.errors import UseError
    from bainwright.rigs import board
    from bainwright.rigs.rigfile import changed, rig_text
    from bainwright.virtual.opening import open_stored

    if out and Path(out).exists():
        raise UseError(f"{out} exists, and a rig is never overwritten", hint="name another file")
    with open_stored(port, virtual) as session:
        values = board.read(session.link)
    if not changed(values):
        remark("the board has no rig of its own yet: every setting is at its default")
    text = rig_text(values, {k: v for k, v in changed(values).items() if k != "drill"})  # it is this board's alone
    if out:
        save_file(Path(out), text)
    show_result({"settings": values, "file": out}, [out or text.rstrip()], as_json)
    return 0


@contextmanager
def _bus_and_hand(port: str | None, virtual: str | None, no_board: bool, *, person: bool) -> Iterator[Any]:
    """The probes on a board's bus, and what waits for a warm hand: (Bus, callable); (None, None) without a board.

    Without a `person` to warm a real probe nothing waits.
    """
    from bainwright.core.errors import LinkError, UseError
    from bainwright.rigs import bus
    from bainwright.virtual.opening import open_board

    if (port is not None) + (virtual is not None) + no_board > 1:
        raise UseError("--port, --virtual and --no-board exclude each other", hint="leave all but one out")
    if virtual is not None:
        from bainwright.rigs.simulated import played

        with played(virtual) as both:
            yield both
        return
    with ExitStack() as stack:
        session = None
        if not no_board:
            try:
                session = stack.enter_context(open_board(port))
            except LinkError as failed:
                if port:
                    raise
                remark(f"no board to look at ({failed.what}): the probes' ids stay open")
        if session is None:
            yield None, None
            return
        link = session.link
        link.hello()
        yield bus.look(link), (lambda place: bus.warmed(link, _show_readings)) if person else None


def _show_readings(probes: list[Any]) -> None:
    out = drawing(sys.stderr)
    if out.isatty():
        shown = "   ".join(f"{each.rom} {'--' if each.temp_c is None else f'{each.temp_c:.1f}'} °C" for each in probes)
        print(f"\r{shown}\033[K", end="\r", file=out, flush=True)
