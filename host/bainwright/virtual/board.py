"""A virtual board for Python: the firmware on real MicroPython, a simulated warmer, and a port to open."""

from __future__ import annotations

import os
import pickle
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from multiprocessing.connection import Connection
from pathlib import Path
from types import TracebackType
from typing import Any

from bainwright.core.errors import BainError, LinkError, UseError
from bainwright.virtual.child import find_interpreter
from bainwright.virtual.image import firmware_files
from bainwright.virtual.simulator import Config

ANSWER_S = 60.0  # real time after which a simulator that says nothing is taken for dead; a plant may compute for long


def _check_place(image: Path) -> None:
    """An evening must not end with a flash that cannot be kept."""
    parent = image.absolute().parent
    if image.is_dir() or not os.access(parent, os.W_OK):
        raise UseError(f"no flash image can be kept at {image}", wanted="a file in a folder that may be written",
                       hint="name another file")  # fmt: skip


class VirtualBoard:
    """A board that exists only here; a context manager.

    Its clock stands still from boot until `run_clock`. The order for runs that are the same to the byte: send what the
    board must know, `arm`, send the start request and read its answer, `run_clock`.

    Parameters
    ----------
    rig : Rig
        The warmer as built.
    plant_spec : str, optional
        ``FILE.py:NAME`` of a plant to use instead of the built-in one.
    scenario : Scenario, optional
        The evening's events.
    seed : int
        Of the probes' noise.
    speed : float, optional
        Simulated over real seconds; None runs as fast as it goes.
    flash_files : dict of str to bytes or None, optional
        Files on the board by absolute path, beside or instead of the firmware's; None leaves one out.
    image : Path, optional
        A flash image to start from if it is there (then `flash_files` are not looked at), and to save to at the end.
    truth : Path, optional
        Where the record of truth goes; see `bainwright.virtual.truth.read_truth`.
    make_world : callable, optional
        What makes the world instead of `world.build_world`, with its arguments; must be picklable.

    Attributes
    ----------
    path : str
        The pseudo-terminal to open with pyserial or mpremote.
    pid : int
        The simulator's process.
    """

    def __init__(
        self,
        rig: Any,
        plant_spec: str | None = None,
        scenario: Any = None,
        seed: int = 0,
        speed: float | None = None,
        flash_files: Mapping[str, bytes | None] | None = None,
        image: Path | None = None,
        truth: Path | None = None,
        make_world: Callable[..., Any] | None = None,
    ) -> None:
        find_interpreter()
        if image is not None:
            _check_place(image)
        files: dict[str, bytes | None] = {**firmware_files(), **(flash_files or {})}
        kept = {path: content for path, content in files.items() if content is not None}
        config = Config(rig, plant_spec, scenario, seed, speed, kept, image, truth, make_world)
        ours, theirs = socket.socketpair()
        self._process = _spawn(theirs)
        theirs.close()
        self._control = Connection(ours.detach())
        self.pid = self._process.pid
        self.path = ""
        try:
            self._control.send_bytes(pickle.dumps(config))
            self.path = self._await()
        except BaseException:
            self.close()
            raise

    # -- the clock ----------------------------------------------------------------------------------------------------

    def arm(self) -> None:
        """Scenario and plant zero: at the next whole second of the board's clock, which goes on standing still."""
        self._ask("arm")

    def run_clock(self) -> None:
        """Let virtual time pass."""
        self._ask("run", True)

    def hold_clock(self) -> None:
        """Stop virtual time; the board still answers."""
        self._ask("run", False)

    @contextmanager
    def clock_held(self) -> Iterator[None]:
        """Hold the clock for a request and its answer."""
        self.hold_clock()
        try:
            yield
        finally:
            self.run_clock()

    def set_speed(self, speed: float | None) -> None:
        """Simulated over real seconds from now on; None: as fast as it goes."""
        self._ask("speed", speed)

    # -- what happens to it -------------------------------------------------------------------------------------------

    def press(self, button: str, for_ms: int = 200) -> None:
        """Press a button (yes, no, recessed) for so many virtual milliseconds."""
        self._ask("press", button, for_ms)

    def fault(self, name: str, on: bool = True) -> None:
        """Break a part, or mend it; names as in scenarios."""
        self._ask("fault", name, on)

    def apply_event(self, event: Any, after_s: float = 0.0) -> None:
        """Let what a scenario's event does to matter (a `WaterSwap`, say) happen now or later, whatever its `at_s`."""
        self._ask("apply_event", event, after_s)

    def hand(self, probe: str, on: bool = True) -> None:
        """A hand closes round a probe (water, bowl), or lets go of it."""
        self._ask("hand", probe, on)

    def power_cut(self, for_s: float = 1.0) -> None:
        """Take its power away for so many virtual seconds."""
        self._ask("power_cut", for_s)

    def cut_flash_at(self, operation: int, torn: bool = False) -> None:
        """Let the power fail in the flash operation so many from now: before it, or `torn`, half way through."""
        self._ask("cut_flash_at", operation, torn)

    # -- what can be asked --------------------------------------------------------------------------------------------

    def report(self) -> dict[str, Any]:
        """How it fares.

        Returns
        -------
        dict
            ``dead`` (why the plant gave up, or None), ``resets`` (each with ``cause`` and ``t_s``), ``power_cuts``,
            ``stalled`` (the reader stopped reading), ``simulated_s`` and ``wall_s`` while the firmware ran, ``now_s``
            since `arm`, ``armed``, ``in_main``, ``flash_erases``, ``flash_operations``, ``pins`` (levels), ``faults``.
            The truth file is complete up to now.
        """
        report: dict[str, Any] = self._ask("report")
        return report

    def flash(self) -> bytes:
        """The flash chip's content."""
        content: bytes = self._ask("flash")
        return content

    def display(self) -> tuple[bool, int, bytes]:
        """The display: is there one, its state (DISPLAY_ON and so on) and memory, as `front.dots_of` takes them."""
        found: tuple[bool, int, bytes] = self._ask("display")
        return found

    def wait(self) -> None:
        """Block until its simulator has ended."""
        self._process.wait()

    # -- the end ------------------------------------------------------------------------------------------------------

    def close(self) -> None:
        """End it; nothing of it stays behind."""
        if self._control.closed:
            return
        self._control.close()  # its simulator ends when this connection does
        try:
            self._process.wait(10.0)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()

    def __enter__(self) -> VirtualBoard:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # -- the simulator -----------------------------------------------------------------------------------------------

    def _ask(self, name: str, *args: Any) -> Any:
        try:
            self._control.send((name, args))
        except (BrokenPipeError, OSError) as error:
            raise LinkError("the virtual board is gone", hint="see its last words on stderr") from error
        return self._await()

    def _await(self) -> Any:
        try:
            if not self._control.poll(ANSWER_S):
                raise LinkError("the virtual board does not answer", got=f"nothing for {ANSWER_S:g} s")
            good, value = self._control.recv()
        except (EOFError, ConnectionError) as error:
            raise LinkError("the virtual board ended unexpectedly", hint="see its last words on stderr") from error
        if not good:
            assert isinstance(value, BainError)
            raise value
        return value


def _spawn(control: socket.socket) -> subprocess.Popen[bytes]:
    """A simulator in a session of its own, so that a terminal's Ctrl-C is not its; what it prints goes to stderr.

    -P keeps it from importing what lies in the folder it was started in: a `tty.py` there is not the library's.
    """
    return subprocess.Popen(
        [sys.executable, "-P", "-m", "bainwright.virtual.simulator", str(control.fileno())],
        pass_fds=[control.fileno()],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(entry for entry in sys.path if entry)},
        stdin=subprocess.DEVNULL,
        stdout=sys.__stderr__ if sys.__stderr__ is not None else subprocess.DEVNULL,
        start_new_session=True,
    )
