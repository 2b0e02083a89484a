"""The fast engine: one case on the real firmware under CPython, in one process, in virtual time."""

from __future__ import annotations

import types
import zlib
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from bainboard import faults, framing, store, wire
from bainwright.files.documents import document, flash_of
from bainwright.virtual import python_modules as modules
from bainwright.virtual.python_flash import Files, Flash, Folder, PowerLostError
from bainwright.virtual.python_hardware import BOOT_US, CaseOverError, Desk, ResetError
from bainwright.virtual.scenario import Scenario

from .hands import DESK_ACTS
from .world import DeskAct, Kitchen, Mishap

modules.install()
from bainboard import app as _app  # noqa: E402 - the modules below it must be there first

firmware: Any = _app

SETTLE_S = 900  # a latched case is watched on: metal goes on giving heat
INJECTED_ID = 1_000_000
LAZY_US = 1_200_000


class Row(NamedTuple):
    """One pass of the firmware's loop."""

    t_ms: int  # since the case began
    state: str
    fault: int
    warn: int
    latched: bool
    duty: float
    guard: int
    water_c: float | None  # as read
    true_c: float
    pin: int  # heater pin after the pass
    heat_ok: bool
    guard_ok: bool
    given_w: float  # mean electrical power of the second


@dataclass(frozen=True)
class Play:
    """A case ready to be played: everything that decides its trace."""

    rig: Any
    seed: int
    profile: dict[str, Any]
    scenario: Scenario
    mishaps: tuple[Mishap, ...]
    end_s: float
    files: dict[str, bytes | None] = field(default_factory=dict)  # instead of the usual ones; None: left out
    ticks_ms: int = 0  # what the port's counter shows at power-on
    host: str = "reads"  # reads, absent, or stalls after half the case
    keep: bool = True  # rows and truth; a soak keeps only what is broken
    watchdog: bool = True
    ends_latched: bool = True


@dataclass
class Trace:
    """What was seen.

    Attributes
    ----------
    rows, truth : list
        Passes of the loop; (t_ms, water, bowl, wall °C, W) each second.
    broken : list of str
        Invariants that did not hold, in words, with when.
    events, starts : list
        The firmware's events; (t_s, cause) of each start after the first.
    """

    rows: list[Row] = field(default_factory=list)
    truth: list[tuple[float, ...]] = field(default_factory=list)
    broken: list[str] = field(default_factory=list)
    events: list[dict[str, Any]] = field(default_factory=list)
    starts: list[tuple[float, str]] = field(default_factory=list)
    crashes: list[str] = field(default_factory=list)
    passes: int = 0
    seconds: float = 0.0
    warmest_c: float = -99.0
    flash_operations: int = 0
    files: dict[str, bytes] = field(default_factory=dict)
    lines: int = 0
    seen: int = 0  # every fault that was warned of or in force, as bits
    inside_s: int = 0
    crc: int = 0

    def digest(self) -> str:
        """The same for two plays of one case."""
        return f"{self.crc:08x}"


def usual_files(rig: Any, profile: dict[str, Any]) -> dict[str, bytes]:
    """A commissioned board: settings, profile, a latch record that says clear."""
    packed = framing.pack(store.KINDS["profile"], 1, document("profile", profile))
    return {**flash_of(rig), "/profile.a": packed}


playing: Player  # whose app runs


class Player:
    """Plays one case."""

    def __init__(self, play: Play, watch: Callable[[Player, Any, Row], None] | None = None) -> None:
        self.play = play
        self.trace = Trace()
        self.world = Kitchen(play.mishaps, play.rig, play.scenario, play.seed)
        files = {**usual_files(play.rig, play.profile), **play.files}
        self.flash = Flash({path: data for path, data in files.items() if data is not None})
        self.desk = Desk(self.world, play.rig.settings, self.flash, self._truth)
        self.desk.ticks_ahead_ms = play.ticks_ms
        self.desk.watchdog_fed = play.watchdog
        self.desk.on_event = self._event
        self.desk.host_reads = play.host != "absent"
        self.desk.take = self._take
        self.flash.cut = self._flash_cut
        self.app: Any = None
        self._watch = watch
        self._end_us = BOOT_US + round(play.end_s * 1e6)
        self._latched_ms: int | None = None
        self._asked = 0
        self._dark_us = 10_000_000
        self.ended = False
        self._heard = bytearray()
        self._status = self._told = 0
        self._power_w = 0.0

    # -- what the desk tells ------------------------------------------------------------------------------------------

    def _truth(self, row: Any) -> None:
        t_ms, water_c, bowl_c, wall_c, power_w = row
        self.trace.warmest_c = max(self.trace.warmest_c, water_c)
        self._power_w = power_w
        if self.play.keep:
            self.trace.truth.append((t_ms, water_c, bowl_c, wall_c, power_w))

    def _take(self, data: bytes) -> int:
        self._heard += data
        if len(self._heard) > 4096:
            self._read_lines()
        return len(data)

    def _read_lines(self) -> None:
        """The host reads what was written: each line whole, each number one more than the last."""
        lines = self._heard.split(b"\n")
        self._heard = lines.pop()
        for line in lines:
            if line.startswith(b'{"status"'):
                self._line(bytes(line), bytes(line).partition(b",")[0].partition(b":")[2])
            elif line:
                self._message(bytes(line))

    def _line(self, line: bytes, number: bytes) -> None:
        body, _, crc = line.rpartition(b"*")
        if f"{zlib.crc32(body):08X}".encode() != crc:
            self.broken("a status line with a wrong check", line)
        self._status += 1
        self.trace.lines += 1
        if int(number) != self._status and self.play.host == "reads":
            self.broken(f"12: status {int(number)} after {self._status - 1}", line)
        self._status = int(number)

    def _message(self, line: bytes) -> None:
        doc, why = wire.decode(line)
        if doc is None:
            self.broken(f"a line that is none: {why}", line)
        elif "event" in doc:
            self._told += 1
            if doc["n"] != self._told and self.play.host == "reads":
                self.broken(f"12: event {doc['n']} after {self._told - 1}", line)
            self._told = doc["n"]
            self.trace.events.append(doc)
        elif self.play.keep:
            self.trace.events.append(doc)

    def broken(self, what: str, more: object = "") -> None:
        """Note an invariant that does not hold; the first twenty."""
        if len(self.trace.broken) < 20:
            t_s = (self.desk.now_us - BOOT_US) / 1e6
            self.trace.broken.append(f"{what} at {t_s:.1f} s{f' ({more!r})' if more else ''}")

    def _event(self) -> None:
        wiring = self.desk.wiring
        actions, wiring.actions = wiring.actions, []
        for action in actions:
            self.act(action)
        if self.desk.now_us >= self._end_us:
            self._over()

    def _over(self) -> None:
        self.ended = True
        self.desk.die(CaseOverError())

    def act(self, action: Any) -> None:
        """Something the board meets."""
        if isinstance(action, DeskAct):
            DESK_ACTS[action.name](self, action.arg)
        elif hasattr(action, "fields"):
            self._asked += 1
            self.desk.heard += wire.encode([("id", INJECTED_ID + self._asked), *action.fields.items()])
        elif hasattr(action, "for_s"):
            self._dark_us = round(action.for_s * 1e6)
            self.desk.die(PowerLostError())
        else:
            self.desk.wiring.fault(action.name, action.on)

    # -- the firmware's pass ------------------------------------------------------------------------------------------

    def note(self, app: Any) -> None:
        """After each pass."""
        w, desk = app.warmer, self.desk
        s = w.supervisor
        if desk.now_us - desk.wiring.now_us > LAZY_US:  # with no conversion nothing else brings the warmer up to now
            desk.wiring.advance(desk.now_us)
        trace = self.trace
        t_ms = (desk.now_us - BOOT_US) // 1000
        row = Row(t_ms, w.state, w.fault, w.warn, s.latched, w.duty, w.guard, w.inputs.water_c,
                  self.world._true_c["water"], desk.heater_level, s.heat_ok, s.guard_ok, self._power_w)
        trace.passes += 1
        trace.seen |= w.warn | 1 << w.fault
        if w.programme is not None and w.programme.place == "inside":
            trace.inside_s += 1
        trace.crc = zlib.crc32(b"%d %d %d %d %d" % (t_ms, w.duty * 10000, w.guard, w.fault, w.warn), trace.crc)
        if self.play.keep:
            trace.rows.append(row)
        if self._watch is not None:
            self._watch(self, app, row)
        if s.latched and self.play.ends_latched:
            self._latched_ms = self._latched_ms or t_ms
            if t_ms - self._latched_ms > SETTLE_S * 1000:
                self._over()

    # -- playing ------------------------------------------------------------------------------------------------------

    def run(self) -> Trace:
        """Play it to its end; other tests of this process then find the firmware's modules as they were."""
        before = (firmware.App, firmware.Folder, firmware.store.Files, firmware.heap_reserve.opened, firmware.sys)
        self._put_firmware()
        try:
            return self._play()
        finally:
            (firmware.App, firmware.Folder, firmware.store.Files, firmware.heap_reserve.opened, firmware.sys) = before
            del firmware.print

    def _play(self) -> Trace:
        modules.use(self.desk)
        self.desk.at(BOOT_US, lambda: self.desk.wiring.arm(BOOT_US))
        self.desk.at(self._end_us, self._over)
        while not self.ended:
            try:
                self._boot()
            except (CaseOverError, ResetError, PowerLostError) as last:
                how = self.desk.died or last
                if isinstance(how, ResetError):
                    self._restart(how.cause, 0)
                elif not self.ended:
                    self._restart("PWRON_RESET", self._dark_us)
        self._read_lines()
        trace = self.trace
        trace.seconds = (self.desk.now_us - BOOT_US) / 1e6
        trace.flash_operations = self.flash.operations
        trace.files = self.flash.files
        return trace

    def _flash_cut(self) -> None:
        self.desk.die(PowerLostError())

    def _restart(self, cause: str, dark_us: int) -> None:
        t_s = (self.desk.now_us - BOOT_US) / 1e6
        self._read_lines()
        self._heard.clear()  # a line cut short
        self._status = self._told = 0
        self.trace.starts.append((t_s, cause))
        try:
            self.desk.restart(cause, dark_us)
        except CaseOverError:
            self.desk.now_us = self._end_us

    def _boot(self) -> None:
        """One life of the firmware, from power-on to reset, power cut or the REPL."""
        try:
            firmware.main("campaign", None)
        except Exception as error:  # the board is at its REPL with the pins as the firmware left them
            self.trace.crashes.append(f"{type(error).__name__}: {error}")
        while True:
            try:
                self.desk.pass_until(self.desk.now_us + 1_000_000)
            except Exception:  # what befalls a firmware that has ended befalls nobody
                continue

    def _put_firmware(self) -> None:
        """What the app takes from the file system and the interpreter comes from this case."""
        global playing
        playing = self
        firmware.App = Watched
        firmware.Folder = lambda path: Folder(self.flash, path)
        firmware.store.Files = lambda root: Files(self.flash)
        firmware.heap_reserve.opened = self._open
        firmware.print = lambda *words: None
        firmware.sys = types.SimpleNamespace(print_exception=lambda error, file: file.write(repr(error).encode()))

    def _open(self, path: str, mode: str) -> _CrashFile:
        return _CrashFile(self.flash, path)


class Watched(firmware.App):  # type: ignore[misc]
    """The firmware's app, looked at after each pass. One class for all cases, so that no interpreter learns it anew."""

    def __init__(self, *args: Any) -> None:
        playing.app = self
        super().__init__(*args)

    def _tick(self, now_ms: int) -> None:
        super()._tick(now_ms)
        playing.note(self)


class _CrashFile:
    """The file a crash is written to."""

    def __init__(self, flash: Flash, path: str) -> None:
        self._flash, self._path, self._data = flash, path, b""

    def __enter__(self) -> _CrashFile:
        return self

    def __exit__(self, *args: object) -> None:
        self._flash.change(self._path, self._data)

    def write(self, data: bytes) -> None:
        """Gather."""
        self._data += data


def seen_names(bits: int) -> list[str]:
    """Names of the faults among bits."""
    return [str(row[faults.NAME]) for row in faults.FAULTS
            if row[faults.NUMBER] and bits >> int(row[faults.NUMBER]) & 1]
