"""A virtual board: the firmware on real MicroPython, a simulated warmer, and a port to open."""

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
from bainwright.virtual.interpreter import require_micropython
from bainwright.virtual.wiring import HAND_C, HAND_S

ANSWER_S = 60.0  # a simulator that is silent for this long (real time) counts as dead; a plant may compute for long


def _check_place(image: Path) -> None:
    """Refuse a path where the flash cannot be saved, before the hold and not after it."""
    parent = image.absolute().parent
    if image.is_dir() or not os.access(parent, os.W_OK):
        raise UseError(f"the flash image {image} cannot be written", wanted="a file in a folder you may write to",
                       hint="name another file")  # fmt: skip


class VirtualBoard:
    """A board that exists only on this PC; a context manager.

    Its clock is stopped from boot until `run_clock`. For runs that repeat to the byte, keep this order: send what the
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
        Random seed of the probes' noise.
    speed : float, optional
        Simulated seconds per real second; None runs as fast as possible.
    flash_files : dict of str to bytes or None, optional
        Files on the board by absolute path. They add to the firmware's files or replace them; None removes one.
    image : Path, optional
        A flash image. If it exists the board starts from it and ignores `flash_files`. It is saved at the end.
    truth : Path, optional
        File for the true temperatures; see `bainwright.virtual.truth.read_truth`.
    make_world : callable, optional
        Makes the world in place of `world.build_world`, with its arguments; must be picklable.
    board : str, optional
        Which of `board_models.MODELS` it plays. None: the memory and pins of a ``pico_w``, and no time for computing.

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
        board: str | None = None,
    ) -> None:
        interpreter = require_micropython()
        from bainwright.virtual.made_firmware import firmware_files
        from bainwright.virtual.simulator import Config  # exists only where a pseudo-terminal does

        if image is not None:
            _check_place(image)
        files: dict[str, bytes | None] = {**firmware_files(), **(flash_files or {})}
        present = {path: content for path, content in files.items() if content is not None}
        config = Config(rig, plant_spec, scenario, seed, speed, present, image, truth, make_world, board,
                        interpreter.path)  # fmt: skip
        ours, theirs = socket.socketpair()
        self._process = _spawn(theirs)
        theirs.close()
        self._control = Connection(ours.detach())
        self._saves = False
        self.pid = self._process.pid
        self.path = ""
        try:
            self._control.send_bytes(pickle.dumps(config))
            self.path = self._await()
            self._saves = image is not None
        except BaseException:
            self.close()
            raise

    # -- the clock ----------------------------------------------------------------------------------------------------

    def arm(self) -> None:
        """Set time zero of scenario and plant to the board's next whole second; the clock stays stopped."""
        self._ask("arm")

    def run_clock(self) -> None:
        """Start virtual time."""
        self._ask("run", True)

    def hold_clock(self) -> None:
        """Stop virtual time; the board still answers requests."""
        self._ask("run", False)

    @contextmanager
    def clock_held(self) -> Iterator[None]:
        """Stop the clock for a request and its answer."""
        self.hold_clock()
        try:
            yield
        finally:
            self.run_clock()

    def set_speed(self, speed: float | None) -> None:
        """Simulated seconds per real second from now on; None: as fast as possible."""
        self._ask("speed", speed)

    # -- events -------------------------------------------------------------------------------------------------------

    def press(self, button: str, for_ms: int = 200) -> None:
        """Press a button (yes, no, recessed) for `for_ms` virtual milliseconds."""
        self._ask("press", button, for_ms)

    def fault(self, name: str, on: bool = True) -> None:
        """Break a part, or repair it; the names are those of scenarios."""
        self._ask("fault", name, on)

    def apply_event(self, event: Any, after_s: float = 0.0) -> None:
        """Apply a scenario event that acts on the warmer, such as `WaterSwap`, after `after_s`; `at_s` is ignored."""
        self._ask("apply_event", event, after_s)

    def hand(self, probe: str, on: bool = True, temp_c: float = HAND_C, within_s: float = HAND_S) -> None:
        """Close a hand round a probe (water, bowl), or hold it in something else; or let go of it.

        It follows what is around it with the time constant `within_s`.
        """
        self._ask("hand", probe, on, temp_c, within_s)

    def power_cut(self, for_s: float = 1.0) -> None:
        """Cut the board's supply for `for_s` virtual seconds."""
        self._ask("power_cut", for_s)

    def cut_flash_at(self, operation: int, torn: bool = False) -> None:
        """Fail the power at a flash operation counted from now: before it, or `torn`, halfway through it."""
        self._ask("cut_flash_at", operation, torn)

    # -- reports ------------------------------------------------------------------------------------------------------

    def report(self) -> dict[str, Any]:
        """The state of the board and its run.

        Returns
        -------
        dict
            ``dead`` (why the plant failed, or None), ``resets`` (each with ``cause`` and ``t_s``), ``power_cuts``,
            ``stalled`` (the reader stopped reading), ``simulated_s`` and ``wall_s`` while the firmware ran, ``now_s``
            since `arm`, ``armed``, ``in_main``, ``flash_erases``, ``flash_operations``, ``pins`` (levels), ``faults``.
            The truth file is complete up to this moment.
        """
        report: dict[str, Any] = self._ask("report")
        return report

    def flash(self) -> bytes:
        """The flash chip's content."""
        content: bytes = self._ask("flash")
        return content

    def display(self) -> tuple[bool, int, bytes]:
        """Is there a display; its state (DISPLAY_ON and so on) and memory, as `panel_view.dots_of` takes them."""
        found: tuple[bool, int, bytes] = self._ask("display")
        return found

    def wait(self) -> None:
        """Block until its simulator has ended."""
        self._process.wait()

    # -- the end ------------------------------------------------------------------------------------------------------

    def close(self) -> None:
        """Save its flash, if it has an image, and end it; nothing of it stays behind.

        Raises
        ------
        UnsavedError
            If the flash could not be saved.
        LinkError
            If it ended before and could not save its flash.
        """
        if self._control.closed:
            return
        try:
            if self._saves:
                self._ask("save")
        finally:
            self._end()

    def _end(self) -> None:
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
            raise LinkError("the virtual board is gone", hint="its last messages are on stderr") from error
        return self._await()

    def _await(self) -> Any:
        try:
            if not self._control.poll(ANSWER_S):
                raise LinkError("the virtual board does not answer", got=f"nothing for {ANSWER_S:g} s",
                                hint="its last messages are on stderr")
            good, value = self._control.recv()
        except (EOFError, ConnectionError) as error:
            raise LinkError("the virtual board ended unexpectedly", hint="its last messages are on stderr") from error
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
