"""`bain`: what a person types. Each command imports what it needs when it runs, so that help is there at once."""

from __future__ import annotations

import os
import sys
import time

import click

from bainwright import __version__
from bainwright.commands.alert import alert
from bainwright.commands.board import board
from bainwright.commands.calibrate import calibrate
from bainwright.commands.collect import collect
from bainwright.commands.console import say
from bainwright.commands.drill import drill
from bainwright.commands.export import export, gather
from bainwright.commands.hold import hold
from bainwright.commands.holds import holds
from bainwright.commands.install import install
from bainwright.commands.page import page
from bainwright.commands.plan import plan
from bainwright.commands.ports import ports
from bainwright.commands.profile import profile
from bainwright.commands.review import review
from bainwright.commands.rig import rig
from bainwright.commands.show import show
from bainwright.commands.stock import stock
from bainwright.commands.temper import temper
from bainwright.commands.tune import tune
from bainwright.commands.usage import Commands, in_words, refuse_empty
from bainwright.commands.watch import watch
from bainwright.core.errors import DONE, NOT_AS_IT_SHOULD, WRONG_USE, BainError, BusyPortError
from bainwright.core.os_errors import FULL, no_memory, reason
from bainwright.core.terminal import guarded

LONGEST = 2000  # characters of an error; chosen: half a screen
CONTEXT = {"help_option_names": ["-h", "--help"], "max_content_width": 100}
COMMANDS = (
    alert, board, calibrate, collect, drill, export, gather, hold, holds, install, page, plan, ports, profile, review,
    rig, show, stock, temper, tune, watch,
)


@click.group(cls=Commands, context_settings=CONTEXT, commands={str(each.name): each for each in COMMANDS})
@click.version_option(__version__, prog_name="bain")
def bain() -> None:
    """Hold tempered chocolate in its window on a warmer you built yourself, or on a simulated one.

    Try it without any hardware:  bain hold dark --virtual

    \b
    Exit status: 0 done; 1 done, but not as it should be (a trip, or the
    window was left for good); 2 wrong use; 3 no board, or a lost board.
    """


def run(arguments: list[str] | None = None) -> int:
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
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before NumPy loads: for small matrices threads only wait
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:  # closed by who started us: no log is to get its number
            setattr(sys, name, open(os.devnull, mode))  # noqa: SIM115 as long as the process
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a terminal without a degree sign still gets the number
    with guarded():
        _keep_to_a_zone()
        return _run(arguments)


def _keep_to_a_zone() -> None:
    """Show times in UTC if the time zone is a day or more off: Python has no dates in such a zone."""
    if max(abs(time.timezone), abs(time.altzone)) >= 24 * 3600:
        say("bain: the time zone of this PC (TZ) does not exist: times are shown in UTC", err=True)
        os.environ["TZ"] = "UTC"
        time.tzset()


def _run(arguments: list[str] | None) -> int:
    try:
        refuse_empty(sys.argv[1:] if arguments is None else arguments)
        return int(bain.main(arguments, prog_name="bain", standalone_mode=False) or DONE)
    except (click.exceptions.Abort, KeyboardInterrupt):
        return _complain("stopped", NOT_AS_IT_SHOULD)
    except click.exceptions.NoArgsIsHelpError as wrong:
        wrong.show()  # the help itself
        return WRONG_USE
    except click.UsageError as wrong:
        return _complain(str(in_words(wrong)), WRONG_USE)
    except BusyPortError as busy:
        return _complain(_who_has(busy), busy.exit_code)
    except BainError as failed:
        return _complain(str(failed), failed.exit_code)
    except OSError as failed:
        return _system(failed)
    except (MemoryError, ImportError) as failed:
        return _complain(no_memory(failed), NOT_AS_IT_SHOULD)


def _complain(text: str, code: int) -> int:
    if len(text) > LONGEST:  # somebody's text is in it, perhaps a whole file's
        text = f"{text[: LONGEST // 2]} ... {text[-LONGEST // 4 :]}"
    say(f"bain: {text}", err=True)
    return code


def _who_has(busy: BusyPortError) -> str:
    """Another program has the port: where that is a hold of ours, how to watch it."""
    from bainwright.live.joining import holder

    hold = holder(busy.what)
    return f"{hold}; bain watch joins it" if hold else str(busy)


def _system(failed: OSError) -> int:
    """What the system refused: files and disks. Ports have their own words."""
    where = f"{failed.filename}: " if failed.filename else ""
    return _complain(where + reason(failed), NOT_AS_IT_SHOULD if failed.errno in FULL else WRONG_USE)
