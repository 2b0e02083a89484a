"""`bain`: what a person types. Commands import what they need when they run, so that help is there at once."""

from __future__ import annotations

import errno
import os
import sys
from pathlib import Path
from typing import Any

import click

from bainwright import __version__
from bainwright.errors import BainError
from bainwright.oswords import FULL, reason
from bainwright.plan.command import plan

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
@click.option("--from", "from_stage", metavar="STAGE", help="The step to begin with: work, or melted for melted stock.")
@click.option("--for", "for_", metavar="DURATION", help="How long, from the start: 3h40m, 90m, 45s.")
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
@click.option("--big", is_flag=True, help="Digits to read across the kitchen.")
@click.option("--json", "as_json", is_flag=True, help="The result as JSON on stdout.")
def hold(big: bool, as_json: bool, **options: Any) -> int:
    """Hold a chocolate in its window.

    PROFILE is dark, milk, white, melted or a TOML file. The bowl may start at any temperature.
    The log, a picture and the facts of the hold go into a folder of their own.
    """
    from bainwright.choices import Asked
    from bainwright.evening import hold_evening

    return hold_evening(Asked(**options), big=big, as_json=as_json, say=say)


@bain.command()
@click.option("--rig", default="pot", show_default=True, metavar="FILE|RIG", help="The simulated warmer.")
@click.option("--plant", metavar="FILE.py:NAME", help="Your own simulated warmer.")
@click.option("--speed", default="1", show_default=True, metavar="N", help="How fast its time passes.")
@click.option("--path", metavar="LINK", help="Also reachable under this path.")
def board(rig: str, plant: str | None, speed: str, path: str | None) -> int:
    """Serve a virtual board on a pseudo-terminal until stopped.

    Its path is the first line printed; pyserial and mpremote open it like any board's port.
    """
    from bainwright import units
    from bainwright.rig import load_rig
    from bainwright.virtual.serve import serve

    serve(load_rig(rig), plant, units.parse_speed(speed), Path(path) if path else None)
    return DONE


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
