"""`bain hold`: from the options to the exit status."""

from __future__ import annotations

import os
import sys
from contextlib import AbstractContextManager, nullcontext
from typing import TYPE_CHECKING, Any

import click

from bainwright.commands import console, options
from bainwright.commands.alert import calls_of

if TYPE_CHECKING:
    from bainwright.alarms.calls import Calls
    from bainwright.core.errors import TrippedError
    from bainwright.evening.options import HoldSetup
    from bainwright.live.live_hold import LiveHold
    from bainwright.page.hosting import HoldPage
    from bainwright.report.report import Report

TERMINAL_S = 10.0  # chosen: the log is sealed by then, and a terminal that is stopped would keep the warmer's port


@click.command(short_help="Hold a chocolate in its window.")
@click.argument("profile", metavar="PROFILE", required=False)
@options.virtual
@options.port
@options.rig
@options.vessel
@options.plant
@click.option(
    "--from", "from_stage", metavar="STAGE",
    help="The step to begin with: melt, seed, cool, settle, test, work, rest or melted.  [default: work, or melted]",
)
@click.option("--method", metavar="METHOD", help="How it is tempered: seed or cool (cool, warm back).  [default: seed]")
@click.option("--for", "for_", metavar="DURATION", help="How long, from the start: 3h40m, 90m, 45s.")
@click.option("--until", metavar="HH:MM", help="Hold until this time of day.")
@click.option("--of", metavar="KIND", help="For melted stock: the kind of chocolate it is.  [default: milk]")
@options.room()
@options.speed
@click.option("--board", metavar="BOARD", help="Which board the virtual one plays: pico, pico_w, pico2 or esp32.")
@click.option("--scenario", metavar="FILE", help="What happens on the simulated evening, as TOML.")
@options.seed
@click.option("--gains", metavar="FILE", help="Control gains from bain tune.  [default: the warmer's own]")
@click.option("--out", metavar="DIR", help="The folder for log and picture.  [default: a new one]")
@click.option("--image", metavar="FILE", help="Store the simulated board's flash in this file.")
@click.option("--join", is_flag=True, help="Watch the hold that already runs on the board.")
@click.option("--undrilled", is_flag=True, help="Hold overnight although not every item of bain drill has passed.")
@click.option("--big", is_flag=True, help="Digits to read across the kitchen.")
@click.option("--page", is_flag=True, help="Show the hold on a web page, on this PC alone.")
@options.lan
@options.look
@options.page_at
@options.alert
@click.option("--alive", metavar="COMMAND|URL", multiple=True,
              help="Send a sign of life this way every five minutes; somebody notices when the signs stop.")
@click.option("--mqtt", metavar="URL", help="Publish the hold at an MQTT broker: mqtt://[USER@]HOST[:PORT][/PREFIX].")
@click.option("--homie", is_flag=True, help="With --mqtt: describe the values by the Homie convention too.")
@click.option("--quiet", is_flag=True, help="No bell when the warmer asks for somebody.")
@options.json
def hold(
    big: bool, quiet: bool, page: bool, lan: bool, look: bool, page_at: str | None, alert: tuple[str, ...],
    alive: tuple[str, ...], mqtt: str | None, homie: bool, as_json: bool, **asked: Any,
) -> int:
    """Hold a chocolate in its window.

    PROFILE is a chocolate by name (bain profile list) or a TOML file. The bowl may start at any temperature.
    The log, a picture and the facts of the hold go into a folder of their own.
    """
    from bainwright.evening.options import HoldRequest, ask_about_stock, resolve
    from bainwright.live.joining import running_on
    from bainwright.live.live_hold import LiveHold

    ask = console.ask if console.is_asked() and not as_json else None
    setup = resolve(ask_about_stock(HoldRequest(**asked), ask))
    if setup.join and (joined := running_on(setup.port)):  # another bain has the board: watch the hold through it
        from bainwright.commands.watch import follow

        return follow(joined, big, quiet)
    with (
        LiveHold() as live,
        calls_of(alert, alive, live.coming) as calls,
        _page(page, lan, look, page_at, live) as served,
    ):
        _publish(mqtt, homie, live)
        if served and lan and console.is_asked() and not as_json:  # the screen of the hold would hide the code
            console.ask_line("Scan the code with the phone, then press Return")
        return _run(setup, big, quiet, live, served is not None, calls, as_json)


def _publish(mqtt: str | None, homie: bool, live: LiveHold) -> None:
    """Publish the hold at a broker, where one is named."""
    from bainwright.core.errors import UseError

    if mqtt is None:
        if homie:
            raise UseError("--homie describes what --mqtt publishes", hint="add --mqtt URL")
        return
    from bainwright.live.mqtt import Publisher, broker_of

    live.follow(Publisher(broker_of(mqtt), live.latest, describe=homie))


def _page(
    page: bool, lan: bool, look: bool, page_at: str | None, live: LiveHold
) -> AbstractContextManager[HoldPage | None]:
    """The page beside the hold, where one is wanted."""
    from bainwright.core.errors import UseError

    if not (page or lan or page_at):
        if look:
            raise UseError("--look is a second link to a page", hint="add --lan, or --page-at ADDRESS")
        return nullcontext()
    from bainwright.page.hosting import HoldPage, addresses

    served = HoldPage(*addresses(lan, page_at), live, look=look)
    for line in served.welcome():
        console.remark(line)
    return served


def _run(setup: HoldSetup, big: bool, quiet: bool, live: LiveHold, page: bool, calls: Calls | None,
         as_json: bool) -> int:  # fmt: skip
    """Run the hold and show its result, before the board is closed: a flash that is not saved must not hide it."""
    from bainwright import __version__
    from bainwright.core.errors import TrippedError
    from bainwright.core.keys import Interrupts
    from bainwright.core.progress import progress
    from bainwright.core.terminal import takes
    from bainwright.display.view import choose_view
    from bainwright.evening.keyboard import KEY_OF_PAGE, KEYS, KEYS_ALONE, KEYS_VIRTUAL
    from bainwright.evening.runner import Runner
    from bainwright.live.frame import Hello
    from bainwright.live.live_view import LiveView
    from bainwright.report.report import report
    from bainwright.virtual.opening import open_board

    console.remark("starting the virtual board ..." if setup.simulated else "looking for the warmer ...")
    with open_board(setup.port, setup.simulated) as session:
        phone = KEY_OF_PAGE if page else ""
        view = choose_view(sys.stderr, full=sys.stdout.isatty(), big=big, quiet=quiet, keys_alone=phone + KEYS_ALONE,
                           keys=phone + (KEYS_VIRTUAL if session.virtual else KEYS))  # fmt: skip
        view = LiveView(view, live)
        with Runner(setup, session, calls.view(view) if calls else view, live.inbox,
                    calls=page or calls is not None) as runner:  # fmt: skip
            try:
                runner.prepare()
            except TrippedError as tripped:
                _call_for(tripped, setup, calls, runner.settings["name"])
                raise
            live.share(Hello(__version__, os.getpid(), str(session.facts().get("port", "")), runner.settings["name"],
                             setup.profile.name, runner.starter.hello["board"]))  # fmt: skip
            for note in runner.notes():
                console.remark(note)
            ended = runner.run()
            # Ctrl-C or an ending session must not cost the hold its picture; three more still do.
            with Interrupts(), progress("closing the log and drawing the picture"):
                done = [report(each, its, session.truth()) for each, its in ended.all_of(runner)]
        if all(takes(stream, TERMINAL_S) for stream in (sys.stdout, sys.stderr)):
            _show(done, as_json)
    return max(each.exit_code for each in done)


def _call_for(tripped: TrippedError, setup: HoldSetup, calls: Calls | None, warmer: str) -> None:
    """Call somebody: nobody heard of the trip while no PC watched. Who starts a hold is there, and reads of it."""
    from bainwright.alarms.rules import found_tripped

    if calls is not None and setup.join:
        for each in calls.call(found_tripped(tripped.words(), setup.profile.name, warmer)):
            console.remark(each.words)


def _show(done: list[Report], as_json: bool) -> None:
    """Print the result on stdout and hints on stderr; of a warmer that restarted, those before it as well."""
    for note in (note for each in done for note in each.notes):
        console.remark(note)
    virtual = "VIRTUAL: " if done[-1].result["virtual"] else ""
    said = [line for each in done for line in (virtual + each.summary, each.where())]
    before = {"before": [each.result for each in done[:-1]]} if len(done) > 1 else {}
    console.show_result({**done[-1].result, **before}, said, as_json)
