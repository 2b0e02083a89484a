"""`bain`: what a person types. Commands import what they need when they run, so that help is there at once."""

from __future__ import annotations

import errno
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from bainwright import __version__
from bainwright.commands.plan import metres, plan
from bainwright.commands.profile import profile
from bainwright.commands.rig import rig
from bainwright.core.errors import BainError
from bainwright.core.os_errors import FULL, reason

DONE, NOT_AS_IT_SHOULD, WRONG_USE, NO_BOARD = 0, 1, 2, 3
CONTEXT = {"help_option_names": ["-h", "--help"], "max_content_width": 100}


@click.group(context_settings=CONTEXT)
@click.version_option(__version__, prog_name="bain")
def bain() -> None:
    """Hold tempered chocolate in its window on a warmer you built yourself, or on a simulated one.

    Try it without any hardware:  bain hold dark --virtual

    \b
    Exit status: 0 done; 1 done, but not as it should be (left the window for good, a trip);
    2 wrong use; 3 no board, or lost board.
    """


bain.add_command(plan)
bain.add_command(profile)
bain.add_command(rig)


@bain.command()
@click.argument("profile", metavar="PROFILE", required=False)
@click.option(
    "--virtual",
    metavar="[RIG]",
    is_flag=False,
    flag_value="pot",
    help="On a simulated warmer: pot, mat, plate or a rig file.",
)
@click.option("--port", metavar="PORT", help="The board's serial port; left out, the only one plugged in.")
@click.option("--rig", metavar="FILE", help="The warmer as built, as TOML; sent to the board if it has another.")
@click.option("--vessel", metavar="NAME", help="Which of the rig's vessels is on it.")
@click.option("--plant", metavar="FILE.py:NAME", help="Your own simulated warmer; implies --virtual.")
@click.option(
    "--from", "from_stage", metavar="STAGE",
    help="The step to begin with: melt, seed, settle, test, work, rest, melted; work unless given, melted for stock.",
)
@click.option("--for", "for_", metavar="DURATION", help="How long, from the start: 3h40m, 90m, 45s.")
@click.option("--until", metavar="HH:MM", help="How long, by the hour of waking.")
@click.option("--of", metavar="KIND", help="For melted stock: of which kind it is; milk if unknown.")
@click.option("--room", metavar="C", help="Room temperature in °C.")
@click.option("--speed", metavar="N|max", help="How fast a simulated warmer's time passes; max unless given.")
@click.option("--scenario", metavar="FILE", help="What happens on the simulated evening, as TOML.")
@click.option(
    "--seed",
    type=click.IntRange(0, 2**32 - 1),
    metavar="N",
    help="Settles the simulated probes' noise; same seed, same hold.",
)
@click.option("--gains", metavar="FILE", help="Control gains as TOML, in place of those the warmer works out.")
@click.option("--out", metavar="DIR", help="Where the log and picture go; left out, a new folder under holds/.")
@click.option("--image", metavar="FILE", help="Keep the simulated board's flash in this file.")
@click.option("--join", is_flag=True, help="Watch the hold that already runs on the board.")
@click.option("--undrilled", is_flag=True, help="Overnight although its cut-offs are not proved (bain drill).")
@click.option("--big", is_flag=True, help="Digits to read across the kitchen.")
@click.option("--json", "as_json", is_flag=True, help="The result as JSON on stdout.")
def hold(big: bool, as_json: bool, **options: Any) -> int:
    """Hold a chocolate in its window.

    PROFILE is a chocolate by name (bain profile list) or a TOML file. The bowl may start at any temperature.
    The log, a picture and the facts of the hold go into a folder of their own.
    """
    from bainwright.commands.hold import hold_evening
    from bainwright.evening.options import HoldRequest

    return hold_evening(HoldRequest(**options), big=big, as_json=as_json, say=say,
                        ask=ask_again if sys.stdin.isatty() and not as_json else None)


def ask_again(question: str, usual: str, read: Callable[[str], str]) -> str:
    """Ask the person, and again when the answer cannot be."""

    def value(text: str) -> str:
        try:
            return read(text)
        except BainError as wrong:
            raise click.UsageError(str(wrong)) from wrong  # said, and asked again

    return str(click.prompt(question, default=usual, show_default=bool(usual), err=True, value_proc=value,
                            prompt_suffix=" "))


@bain.command()
@click.option("--rig", default="pot", show_default=True, metavar="FILE|RIG", help="The simulated warmer.")
@click.option("--plant", metavar="FILE.py:NAME", help="Your own simulated warmer.")
@click.option("--speed", default="1", show_default=True, metavar="N", help="How fast its time passes.")
@click.option("--path", metavar="LINK", help="Also reachable under this path.")
@click.option("--image", metavar="FILE", help="Keep its flash in this file, and start from what is in it.")
@click.option("--scenario", metavar="FILE", help="What happens to it from its start on, as TOML.")
@click.option("--panel", is_flag=True, help="Fit panel and display, show them here; keys press the buttons.")
@click.option("--png", metavar="FILE", help="The same, and keep a picture of it in this file.")
def board(rig: str, plant: str | None, speed: str, path: str | None, image: str | None, scenario: str | None,
          panel: bool, png: str | None) -> int:  # fmt: skip
    """Serve a virtual board on a pseudo-terminal until stopped.

    Its path is the first line printed; pyserial and mpremote open it like any board's port. It comes commissioned:
    settings stored, latch cleared; with its panel yes and yes again starts a hold with no PC.
    """
    from bainwright.core import units
    from bainwright.files.documents import flash_of
    from bainwright.files.rig import load_rig
    from bainwright.virtual.probe_ids import name_probes
    from bainwright.virtual.scenario import load_scenario
    from bainwright.virtual.serve import serve

    shown = panel or png is not None
    warmer = load_rig(rig)
    warmer = name_probes(warmer.with_settings({"panel": True, "display": True}) if shown else warmer)
    serve(warmer, plant, units.parse_speed(speed), Path(path) if path else None, flash_files=flash_of(warmer),
          scenario=load_scenario(scenario) if scenario else None, image=Path(image) if image else None, panel=shown,
          png=Path(png) if png else None)
    return DONE


@bain.command()
@click.argument("log", metavar="LOG")
@click.option("--minutes", type=float, metavar="MIN", help="A test piece had set after so many minutes.")
@click.option("--not-set", is_flag=True, help="It did not set.")
@click.option("--gloss", type=click.Choice(("good", "dull")), help="How it shone.")
@click.option("--streaks", type=click.Choice(("none", "some", "many")), help="How streaked it was.")
@click.option("--room", metavar="C", help="Room temperature in °C where it set.")
@click.option("--json", "as_json", is_flag=True, help="The record as JSON on stdout.")
def temper(as_json: bool, **options: Any) -> int:
    """Show or complete the temper tests of a hold.

    LOG is the hold's folder. A test that the warmer timed is there already; how the piece looked is yours to say, and a
    time of your own adds a test. The record lies beside the log as temper.json.
    """
    from bainwright.commands.temper import TemperOptions, run_temper

    return run_temper(TemperOptions(**options), as_json=as_json, say=say)


@bain.command()
@click.argument("log", metavar="LOG", required=False)
@click.option("--left", metavar="MASS", help="What is left, spread, set and weighed: 640g.")
@click.option("--melt", metavar="MASS", help="The melt as it was before any seed went in.")
@click.option("--seed", metavar="MASS", help="The seed that went in: the next plan learns from it.")
@click.option("--of", metavar="LOG", help="The hold whose leftovers were melted again for this one.")
@click.option("--water", is_flag=True, help="Water got into it.")
@click.option("--grains", is_flag=True, help="It has lumps that do not melt.")
@click.option("--allergen", "allergens", multiple=True, metavar="WHAT", help="What else got into it: hazelnut.")
@click.option("--pounds", is_flag=True, help="Show oz and lb.")
@click.option("--json", "as_json", is_flag=True, help="The record as JSON on stdout.")
def stock(as_json: bool, pounds: bool, **options: Any) -> int:
    """Keep what an evening left: its mass, how often it was melted, what got into it, and may it be tempered again.

    LOG is the hold's folder; with none, all that is kept is told. Exit status 1 says that some of it is not fit.
    """
    from bainwright.commands.stock import StockOptions, run_stock
    from bainwright.core.masses import Shown

    return run_stock(StockOptions(**options), Shown(pounds=pounds), as_json=as_json, say=say)


@bain.command()
@click.option("--port", metavar="PORT", help="The board's serial port; left out, the only one plugged in.")
@click.option("--virtual", metavar="IMAGE", help="From a simulated board's flash, as hold --image keeps it.")
@click.option("--out", metavar="DIR", help="Where the folders of holds are; holds/ unless given.")
@click.option("--keep", is_flag=True, help="Delete nothing on the board.")
@click.option("--json", "as_json", is_flag=True, help="The result as JSON on stdout.")
def collect(as_json: bool, **options: Any) -> int:
    """Fetch what the board logged while no PC was there.

    Each hold gets its folder with log, picture and summary; one that was watched in part is completed. What is safe on
    the disk is then deleted on the board.
    """
    from bainwright.commands.collect import CollectAsked, collect_and_tell

    return collect_and_tell(CollectAsked(**options), as_json=as_json, say=say)


@bain.command()
@click.option(
    "--virtual", metavar="[RIG]", is_flag=False, flag_value="pot", help="A simulated warmer: pot, mat, plate."
)
@click.option("--port", metavar="PORT", help="The board's serial port; left out, the only one plugged in.")
@click.option("--rig", metavar="FILE", help="The warmer as built, as TOML.")
@click.option("--vessel", metavar="NAME", help="Which of the rig's vessels is on it.")
@click.option("--plant", metavar="FILE.py:NAME", help="Your own simulated warmer; implies --virtual.")
@click.option("--from", "from_log", metavar="LOG", help="Learn from a hold's log instead of an experiment.")
@click.option("--chocolate", default="dark", show_default=True, metavar="PROFILE", help="What it is to hold.")
@click.option("--for", "for_", metavar="DURATION", help="How long the experiment takes; an hour unless given.")
@click.option("--room", metavar="C", help="Room temperature in °C.")
@click.option("--speed", metavar="N|max", help="How fast a simulated warmer's time passes; max unless given.")
@click.option("--seed", type=click.IntRange(0, 2**32 - 1), metavar="N", help="Settles a simulated warmer's noise.")
@click.option("--out", metavar="FILE", help="The gains file; RIG-gains.toml unless given. The report goes beside it.")
@click.option("--undo", is_flag=True, help="Put the gains back that the last tuning replaced.")
@click.option("--json", "as_json", is_flag=True, help="The result as JSON on stdout.")
def tune(as_json: bool, **options: Any) -> int:
    """Learn your warmer, choose gains for it, and prove them before they are used.

    Fill it as for an evening, with melted untempered chocolate or as much weighed water, everything cold, and leave it
    alone for an hour. Gains that fail the proof are refused with the reason, and nothing is written but the report.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # its matrices are small: threads would only wait for each other
    from bainwright.commands.tune import TuneAsked
    from bainwright.commands.tune import tune as tune_warmer

    return tune_warmer(TuneAsked(**options), as_json=as_json, say=say)


@bain.command()
@click.option("--virtual", metavar="[RIG]", is_flag=False, flag_value="pot", help="A simulated warmer; does it itself.")
@click.option("--port", metavar="PORT", help="The board's serial port; left out, the only one plugged in.")
@click.option("--rig", metavar="FILE", help="The warmer as built, as TOML; left out, the settings its board has.")
@click.option("--show", is_flag=True, help="Only tell what is proved, when, and what is open and why.")
@click.option("--again", is_flag=True, help="Prove everything anew, also what is proved.")
@click.option("--out", metavar="FILE", help="Where the results are kept; RIG-drill.json unless given.")
@click.option("--json", "as_json", is_flag=True, help="The result as JSON on stdout.")
def drill(as_json: bool, **options: Any) -> int:
    """Prove each trip and cut-out on the warmer, step by step, in about half an hour.

    Says what to do, what must happen and how long to wait, and times it. Each result is kept as it comes: broken off,
    the drill goes on where it stopped. Fill the bath with cold water; chocolate need not be in the bowl.
    """
    from bainwright.commands.drill import DrillAsked, drill_and_tell

    return drill_and_tell(DrillAsked(**options), as_json=as_json, say=say)


@bain.command()
@click.option("--port", metavar="PORT", help="The board's serial port; left out, the only one plugged in.")
@click.option(
    "--virtual", metavar="[RIG]", is_flag=False, flag_value="pot", help="Played on a simulated warmer: pot, mat, plate."
)
@click.option("--rig", metavar="FILE", help="The warmer's rig file: offset and gain are written into it.")
@click.option("--fever", metavar="TEMP", help="Probes in stirred water that a fever thermometer shows: 38.2 or 100.8F.")
@click.option("--ice", is_flag=True, help="Probes in crushed ice and water.")
@click.option("--boil", is_flag=True, help="Probes in boiling water; with --altitude or --pressure.")
@click.option("--altitude", callback=metres, metavar="METRES", help="Above the sea; or feet: 1700ft.")
@click.option("--pressure", type=float, metavar="HPA", help="Of a barometer in the kitchen, not reduced to sea level.")
@click.option("--lifted", type=click.Choice(("water", "bowl")), help="Which probe is lifted out now: tells them apart.")
@click.option("--bowl", multiple=True, metavar="TEMP", help="With no probe in it: the chocolate by hand, in a hold; "
              "or WATER/CHOCOLATE as both were read.")
@click.option("--chocolate", default="dark", show_default=True, metavar="PROFILE", help="Whose window it must serve.")
@click.option("--show", is_flag=True, help="Only tell what is kept, and how old it is.")
@click.option("--afresh", is_flag=True, help="Forget what was measured before.")
@click.option("--seed", type=click.IntRange(0, 2**32 - 1), default=0, metavar="N", help="Settles simulated probes.")
@click.option("--json", "as_json", is_flag=True, help="The result as JSON on stdout.")
def calibrate(as_json: bool, **options: Any) -> int:
    """Find out what the probes are worth: first beside a fever thermometer, then in ice, then in boiling water.

    The heat is locked out meanwhile. With no bath named it asks, step by step. Each point is kept at once, beside the
    rig file, in it and on the board; the first alone settles what a chocolate's window needs.
    """
    from bainwright.commands.calibrate import CalibrateAsked, calibrate_and_tell

    def ask(question: str) -> str:
        return str(click.prompt(question, default="", show_default=False, err=True))

    return calibrate_and_tell(CalibrateAsked(**options), ask if sys.stdin.isatty() else None, as_json=as_json, say=say)


@bain.command()
@click.option("--port", metavar="PORT", help="The board's serial port; left out, the only one plugged in.")
@click.option("--virtual", metavar="IMAGE", help="On a simulated board's flash, as hold --image keeps it.")
@click.option("--dry-run", is_flag=True, help="Only tell what would change.")
@click.option("--check", is_flag=True, help="Only tell what is there and whether it differs from this program's.")
@click.option("--back", is_flag=True, help="Go back to the version before.")
@click.option("--json", "as_json", is_flag=True, help="The result as JSON on stdout.")
def install(as_json: bool, **options: Any) -> int:
    """Put this program's firmware on a board that runs MicroPython.

    Only what differs is sent. Broken off at any point the board starts the version it had; a new one that fails its
    first start makes room for it by itself. Nothing is changed while the warmer heats.
    """
    from bainwright.commands.install import install_and_tell
    from bainwright.install.installer import InstallAsked

    return install_and_tell(InstallAsked(**options), as_json=as_json, say=say)


@bain.command()
@click.option("--json", "as_json", is_flag=True, help="The result as JSON on stdout.")
def ports(as_json: bool) -> int:
    """List the ports a board may be on, and which warmer answers on each."""
    from bainwright.commands.install import ports_and_tell

    return ports_and_tell(as_json=as_json, say=say)


def say(text: str, *, err: bool = False) -> None:
    """Print; a reader who left early (`| head`) or a terminal that was closed is no error."""
    stream = sys.stderr if err else sys.stdout
    try:
        print(text, file=stream, flush=True)
    except OSError as failed:
        if failed.errno not in (errno.EPIPE, errno.EIO):
            raise
        _nobody_reads(stream)


def _nobody_reads(stream: Any) -> None:
    """Point a closed pipe to nowhere, or Python complains about it on its way out."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def main(arguments: list[str] | None = None) -> int:
    """Run `bain`; every error a person can act on comes out as words and an exit status.

    Parameters
    ----------
    arguments : list of str, optional
        What was typed after ``bain``; the process's own by default.

    Returns
    -------
    int
        The exit status.
    """
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a terminal without a degree sign still gets the number
    try:
        return int(bain.main(arguments, prog_name="bain", standalone_mode=False) or DONE)
    except (click.exceptions.Abort, KeyboardInterrupt):
        return _complain("stopped", NOT_AS_IT_SHOULD)
    except click.ClickException as wrong:
        wrong.show()
        return wrong.exit_code
    except BainError as failed:
        return _complain(str(failed), failed.exit_code)
    except OSError as failed:
        return _system(failed)


def _complain(text: str, code: int) -> int:
    say(f"bain: {text}", err=True)
    return code


def _system(failed: OSError) -> int:
    """What the system refused: files and disks. Ports have their own words."""
    where = f"{failed.filename}: " if failed.filename else ""
    return _complain(where + reason(failed), NOT_AS_IT_SHOULD if failed.errno in FULL else WRONG_USE)


if __name__ == "__main__":
    sys.exit(main())
