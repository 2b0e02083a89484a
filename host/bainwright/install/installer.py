"""`bain install`: put the firmware that came with this program on a board: all of it, or no change."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from bainwright.core.errors import LinkError, RefusedError, UseError
from bainwright.files.firmware import BACK, FOLDER, NONE, Firmware, firmware
from bainwright.install import install_plan, permit
from bainwright.install.install_plan import BUNDLE, STAGED, Plan, Seen
from bainwright.install.mpremote import Remote, no_micropython, script
from bainwright.install.one_at_a_time import one_at_a_time
from bainwright.link import finding, ports
from bainwright.link.protocol import Link, Transport
from bainwright.link.session import linked
from bainwright.virtual.opening import refuse_two_warmers
from bainwright.words.advice import refuse_heat_at_rest

REST = ("idle", "trip")  # states in which nothing heats
GREET_TRIES = 2  # a live board answers within one tick; do not wait long for a bare one
LEAVE_S = 10.0  # chosen: a board that has to reset first is back within a second or two; who looks in is gone as soon
START_S = 20.0  # chosen: from source a small board loads for several seconds
ASK_AGAIN_S = 2.0  # after this long without a line it may have started before we listened
PROMPT_S = 4.0  # chosen: an interrupted program may have something to finish
PROMPT, BOOT = b">>> ", b'"event":"boot"'
BREAK = b"\r\x03\x03\r\x02"  # Ctrl-C interrupts; Ctrl-B leaves mpremote's own prompt, if one was left open
RUN_MAIN = b"\r\x02\x04"  # Ctrl-B: to the plain prompt, if not there yet; Ctrl-D there: restart, and run main.py


@dataclass(frozen=True)
class InstallAsked:
    """The options as typed."""

    port: str | None = None
    virtual: str | None = None
    dry_run: bool = False
    check: bool = False
    back: bool = False


@dataclass
class Installed:
    """The result of an install.

    Attributes
    ----------
    hello : dict, optional
        The board's hello before; None when no warmer's firmware answered.
    now : dict, optional
        The board's hello afterwards.
    seen : Seen, optional
        What was on the board before; None when it was not examined because it heats.
    plan : Plan, optional
        What was, or would be, changed.
    """

    port: str
    asked: InstallAsked
    wanted: Firmware | None = None
    hello: dict[str, Any] | None = None
    now: dict[str, Any] | None = None
    seen: Seen | None = None
    plan: Plan | None = None
    notes: list[str] = field(default_factory=list)


class Progress:
    """Follows the bytes of each file; the command line draws it."""

    def begin(self, total_bytes: int) -> None:
        """A transfer of this many bytes begins."""

    def sent(self, count: int) -> None:
        """This many more bytes were sent."""


# -- talking to the board ----------------------------------------------------------------------------------------------


def greet(path: str) -> dict[str, Any] | None:
    """The warmer's hello; None where no warmer's firmware answers.

    Raises
    ------
    LinkError
        If a warmer's firmware runs there but does not answer: it may be heating, and must not be interrupted.
    """
    with linked(path) as link:
        try:
            return link.hello(GREET_TRIES, any_wire=True)
        except ports.LostBoardError:
            raise
        except LinkError:
            if link.speaks:
                raise
            return None


def must_rest(hello: dict[str, Any]) -> None:
    """Make sure that the warmer does not heat.

    Raises
    ------
    RefusedError
        If a hold runs, or the water warms although all is off.
    """
    refuse_heat_at_rest(hello)
    if hello.get("state") not in REST:
        raise RefusedError("a hold runs on this warmer", got=hello.get("state"), wanted="idle",
                           hint="firmware changes only when nothing heats: stop it first")  # fmt: skip


def leave_service(path: str) -> None:
    """Ask the firmware to end at the plain prompt; a board whose watchdog runs restarts once first."""
    for _ in range(2):
        with linked(path, LEAVE_S) as link:
            must_rest(link.hello(any_wire=True))
            link.request("maintenance")
            link.transport.write(b"\n")  # wakes it: otherwise it sleeps to its next tick before it leaves
            if _prompt_came(link):
                return
    raise LinkError("the board does not leave its service", hint="unplug it, plug it in and try again")


def _prompt_came(link: Link) -> bool:
    """Wait for the prompt; False when the board restarts instead."""
    try:
        return _hear(link.transport, LEAVE_S, PROMPT, BOOT) == PROMPT
    except ports.LostBoardError:  # it restarts, and its USB port disappears for a moment
        return False


def _hear(transport: Transport, within_s: float, *wanted: bytes) -> bytes | None:
    """The first of these texts that the board sends; None when none comes in time."""
    heard, deadline_s = b"", time.monotonic() + within_s
    while time.monotonic() < deadline_s:
        heard += transport.read()
        for each in wanted:
            if each in heard:
                return each
    return None


def must_have_prompt(path: str) -> None:
    """Interrupt whatever runs there and wait for MicroPython's prompt: mpremote itself would wait for ever.

    Raises
    ------
    LinkError
        If none comes.
    """
    with linked(path, LEAVE_S) as link:
        link.transport.write(BREAK)
        if _hear(link.transport, PROMPT_S, PROMPT) is None:
            raise no_micropython(path)


def restart(path: str) -> dict[str, Any] | None:
    """Run main.py from the plain prompt; the firmware's hello, None when none comes."""
    with linked(path, LEAVE_S) as link:
        link.transport.write(RUN_MAIN)
        return _await_hello(link, path)


def _await_hello(link: Link, path: str) -> dict[str, Any] | None:
    """Listen for the firmware's start, across restarts of the board and its port."""
    give_up_s = time.monotonic() + START_S
    ask_s = time.monotonic() + ASK_AGAIN_S
    while time.monotonic() < give_up_s:
        try:
            started = any(isinstance(said, dict) and said.get("event") == "boot" for said in link.poll())
            if started or time.monotonic() > ask_s:
                return link.hello(1, any_wire=True)
        except ports.LostBoardError:
            link.transport.close()
            link.replace(ports.open_port(path, LEAVE_S))
        except LinkError:
            ask_s = time.monotonic() + ASK_AGAIN_S
    return None


# -- the install -------------------------------------------------------------------------------------------------------


def look(remote: Remote) -> Seen:
    """The files on the board, as `board_scripts/look.py` reports them.

    Raises
    ------
    LinkError, RefusedError
        If the firmware cannot run there, or another program is on the board.
    """
    seen = install_plan.read_seen(remote.run(script("look")))
    install_plan.check_board(seen)
    if not {"all", "root"} <= set(seen.about):
        raise LinkError("the board did not report all that is on it", hint="press its reset button and try again")
    return seen


def carry_out(remote: Remote, plan: Plan, progress: Progress) -> None:
    """Send what is missing, put it in place and switch; the board checks every hash before it switches.

    Raises
    ------
    LinkError, RefusedError
        If it failed; the board then starts the version it started before.
    """
    bundles = plan.bundles()
    arrived = iter(bundles)
    progress.begin(sum(map(len, bundles)))

    def line(text: str) -> None:
        if text.startswith("unpacked"):
            progress.sent(len(next(arrived, b"")))

    with TemporaryDirectory(prefix="bain-") as folder:
        send = []
        for number, bundle in enumerate(bundles):
            (packed := Path(folder, f"{BUNDLE}{number}")).write_bytes(bundle)
            send += [["fs", "cp", str(packed), f":{FOLDER}/{STAGED}/"],
                     ["exec", f"unpack({packed.name!r}, {hashlib.sha256(bundle).hexdigest()!r})"]]  # fmt: skip
        record = plan.record.line() if plan.record else None
        prepare, put = f"prepare({plan.keep!r})", f"put({plan.places!r}, {plan.strays!r}, {record!r}, {plan.left!r})"
        said = remote.run(script("put"), ["exec", prepare], *send, ["exec", put], line=line)
    _check_finished(said)


def _check_finished(said: list[dict[str, Any]]) -> None:
    wrong = next((line["wrong"] for line in said if "wrong" in line), None)
    if wrong == "fat":
        raise RefusedError(
            "the board keeps its files on FAT, where a power cut during an install could leave half of one",
            hint="erase its flash and put MicroPython on it again: that makes littlefs",
        )
    if wrong is not None or not any("put" in line for line in said):
        raise LinkError(f"{wrong or 'the firmware'} did not arrive whole; the board keeps what it had",
                        hint="look at the cable and try again")  # fmt: skip


def judge(done: Installed, target: str) -> None:
    """Check that the wanted version started.

    Raises
    ------
    RefusedError
        If another version started, or none.
    """
    if done.now is None:
        raise RefusedError(
            f"version {target} does not answer",
            hint="unplug the board and plug it in: it then starts the version before, if it had one. Its last error: "
            f"mpremote connect {done.port} fs cat :crash.txt",
        )
    running = running_version(done.now)
    if running != target:
        raise RefusedError(
            f"version {target} failed its first start and the board went back by itself to {running or 'another one'}",
            hint=f"what went wrong: mpremote connect {done.port} fs cat :crash.txt",
        )
    if done.now.get("kept") is False:
        done.notes.append("the board could not store that this version works; it will go back to the one before")


def running_version(hello: dict[str, Any] | None) -> str:
    """The hash of the firmware that said hello; empty if it gave none."""
    return str((hello or {}).get("version", "")).partition("+")[2]


def install(asked: InstallAsked, path: str, progress: Progress) -> Installed:
    """Install, look, or go back, on the board on one port.

    Parameters
    ----------
    asked : InstallAsked
        The options.
    path : str
        The port.
    progress : Progress
        Receives the progress.

    Returns
    -------
    Installed
        The result; a failure is raised.
    """
    done, had_permit = Installed(path, asked), False
    done.hello = greet(path)
    if done.hello is not None:
        if asked.check and done.hello.get("state") not in REST:
            done.notes.append("a hold runs on it: only what it says of itself was looked at")
            return done
        must_rest(done.hello)
        install_plan.refuse_frozen(done.hello)
        had_permit = not (asked.check or asked.dry_run) and permit.take_back(path, done.hello)
        leave_service(path)
    else:
        must_have_prompt(path)
    try:
        _change(done, Remote(path), progress)
    except BaseException:
        _let_run(path)
        raise
    if asked.check or asked.dry_run:
        if done.hello is None:
            _let_run(path)
        else:
            done.now = restart(path)
        return done
    done.now = restart(path)
    record = (done.plan.record if done.plan else None) or (done.seen.record if done.seen else None)
    target = record.current if record else NONE
    if done.now is None:
        done.now = _break_off(path)
    judge(done, target)
    if had_permit and done.hello is not None and done.now is not None:
        done.notes += permit.settle(path, done.hello, done.now)
    return done


def _change(done: Installed, remote: Remote, progress: Progress) -> None:
    """With the board at its prompt: examine it and change it as asked."""
    done.seen = seen = look(remote)
    done.wanted = firmware(seen.mpy)
    if seen.record is not None and seen.record.state == BACK and seen.record.before == done.wanted.version:
        done.notes.append(f"version {done.wanted.version} was here before and failed its first start")
    done.plan = install_plan.plan_back(seen) if done.asked.back else install_plan.make_plan(seen, done.wanted)
    if not (done.asked.check or done.asked.dry_run or done.plan.nothing):
        carry_out(remote, done.plan, progress)


def _let_run(path: str) -> None:
    """After a failure, let the board run its firmware again; if that fails too, the first failure is reported."""
    with suppress(LinkError), linked(path, LEAVE_S) as link:
        link.transport.write(RUN_MAIN)


def _break_off(path: str) -> dict[str, Any] | None:
    """If a version hangs in its first start, restart the board, which then starts the one before."""
    try:
        Remote(path).run(["reset"])
        with linked(path, LEAVE_S) as link:
            return _await_hello(link, path)
    except (LinkError, RefusedError):  # only unplugging helps, and the error says so
        return None


@contextmanager
def opened(asked: InstallAsked) -> Iterator[str]:
    """The port of the board to install on: a live one, or a virtual one whose flash is a file."""
    refuse_two_warmers(port=asked.port, virtual=asked.virtual)
    if asked.virtual is None:
        yield finding.choose_to_write(asked.port)
        return
    from bainwright.files.rig import load_rig
    from bainwright.virtual.board import VirtualBoard
    from bainwright.virtual.made_firmware import firmware_files

    bare = dict.fromkeys(firmware_files())
    with VirtualBoard(load_rig("pot"), speed=1.0, flash_files=bare, image=Path(asked.virtual)) as board:
        board.arm()
        board.run_clock()
        yield board.path


def install_on(asked: InstallAsked, progress: Callable[[], Progress] = Progress) -> Installed:
    """Find the board and do what was asked.

    Raises
    ------
    UseError
        If the options do not go together, or several boards could be meant.
    """
    if asked.back and (asked.check or asked.dry_run):
        raise UseError("--back changes the board; --check and --dry-run do not", hint="leave one of them out")
    with opened(asked) as path, one_at_a_time(path):
        return install(asked, path, progress())
