"""Power cuts in any flash operation: of an install, an upload, a hold that is logged, the collection of its log."""

from __future__ import annotations

import contextlib
import random
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "host"))

from install_tools import other_version, send, this_version

from bainboard import faults, framing, settings, store
from bainwright.core.errors import BainError, LinkError
from bainwright.files.chocolate import load_profile
from bainwright.files.documents import document, flash_of, short_hash
from bainwright.files.rig import load_rig
from bainwright.install.installer import running_version
from bainwright.link.protocol import Link
from bainwright.link.session import linked
from bainwright.record.archive import Archive
from bainwright.record.collecting import fetch_log, forget, list_segments
from bainwright.virtual.board import VirtualBoard
from bainwright.virtual.probe_ids import name_probes

from .parts import Tally

BACK_S = 20.0  # real time in which a board that lost its power must answer again
OPERATIONS, INSTALL_OPERATIONS = 14, 540  # flash operations of the longest other task, and of an install
CHOCOLATES = ("dark", "milk", "white")


def cuts(count: int, seed: int, *, latched: bool) -> Tally:
    """Cut the power so many times, at most once in each round; with `latched`, a trip stands all the while.

    What must hold after each cut: the board answers; what it acknowledged before is there, byte for byte; what it was
    given while the power failed is there or what it replaces; it runs the firmware it had, or the one it was given;
    rows that were fetched are rows it still has; a latch that stood stands.
    """
    tally = Tally()
    rig = name_probes(load_rig("pot"))
    files = flash_of(rig)
    if latched:
        payload = store.latch_payload(faults.OVER_HARD_LIMIT, 1)
        files["/latch.a"] = framing.pack(store.KINDS["latch"], 1, payload)
    with (
        tempfile.TemporaryDirectory(prefix="abuse-") as name,
        VirtualBoard(rig, seed=seed, speed=100.0, flash_files=files) as board,
    ):
        board.arm()
        board.run_clock()
        rounds = Rounds(board, Path(name), latched)
        while tally.power_cuts < count and tally.cases < 5 * count:
            number = seed + tally.cases
            tally.cases += 1
            rounds.cut(random.Random(number))
            tally.power_cuts = board.report()["power_cuts"]
            tally.wrong += [f"round {number}: {what}" for what in rounds.wrong]
        report = board.report()
        fallen = [each for each in report["resets"] if each["cause"] not in ("power_cut", *rounds.restarts)]
        tally.wrong += [f"a restart that nothing explains: {each}" for each in fallen]
    return tally


class Rounds:
    """One board and what it has acknowledged."""

    def __init__(self, board: VirtualBoard, folder: Path, latched: bool) -> None:
        self.board, self.latched = board, latched
        self.archive = Archive(folder, "aa")
        self.acknowledged: dict[str, bytes] = {}
        self.firmware = {this_version().version}  # what may run
        self.restarts: tuple[str, ...] = ()  # kinds that an install brings
        self.wrong: list[str] = []

    def cut(self, rng: random.Random) -> None:
        """One task with a cut in it, then the look at what is left."""
        self.wrong = []
        tasks = [self._settings, self._chocolate, self._collect, self._install]
        task = rng.choice(tasks if self.latched else [*tasks, self._hold])
        offered: dict[str, bytes] = {}
        most = INSTALL_OPERATIONS if task == self._install else OPERATIONS
        with contextlib.suppress(BainError), linked(self.board.path) as link:
            self._hello(link)
            self.board.cut_flash_at(rng.randint(1, most), torn=rng.random() < 0.5)
            task(link, rng, offered)
        while True:
            cuts = self.board.report()["power_cuts"]
            try:
                self._look(offered)
                return
            except BainError as failed:
                if self.board.report()["power_cuts"] == cuts:
                    self.wrong.append(f"{task.__name__}: {failed}")
                    return
                # A cut that was to come after the task's last operation came during the look.

    def _hello(self, link: Link) -> dict[str, Any]:
        until_s = time.monotonic() + BACK_S
        while True:
            try:
                return link.hello(tries=1)
            except LinkError:
                if time.monotonic() > until_s:
                    raise

    def _settings(self, link: Link, rng: random.Random, offered: dict[str, bytes]) -> None:
        values = {**settings.defaults(settings.SETTINGS), **name_probes(load_rig("pot")).settings, "drill": "simulated"}
        self._send(link, "settings", {**values, "room_c": round(rng.uniform(10.0, 30.0), 1)}, offered)

    def _chocolate(self, link: Link, rng: random.Random, offered: dict[str, bytes]) -> None:
        self._send(link, "profile", load_profile(rng.choice(CHOCOLATES)).document(), offered)

    def _send(self, link: Link, what: str, values: dict[str, Any], offered: dict[str, bytes]) -> None:
        offered[what] = document(what, values)
        link.upload(what, offered[what])
        self.acknowledged[what] = offered.pop(what)

    def _install(self, link: Link, rng: random.Random, offered: dict[str, bytes]) -> None:
        link.transport.close()  # the installer opens the port itself
        version = other_version({"bainboard/faults.py": f"\nNUMBER = [{rng.getrandbits(32)}]\n"})
        self.firmware.add(version.version)
        self.restarts = ("soft", "reset")
        send(self.board, version)
        self.firmware = {version.version}

    def _hold(self, link: Link, rng: random.Random, offered: dict[str, bytes]) -> None:
        link.request("start", stage="work", for_ms=0, room=20000)
        until_s = time.monotonic() + 1.0
        while time.monotonic() < until_s:  # some hundred rows
            link.poll()
        link.request("stop")

    def _collect(self, link: Link, rng: random.Random, offered: dict[str, bytes]) -> None:
        segments = list_segments(link)
        self.archive, _ = fetch_log(link, self.archive, segments, lambda count: None)
        if rng.random() < 0.3:
            forget(link, segments)

    def _look(self, offered: dict[str, bytes]) -> None:
        with linked(self.board.path) as link:
            hello = self._hello(link)
            if hello["state"] == "hold":
                link.request("stop")
            running = running_version(hello)
            if running not in self.firmware:
                self.wrong.append(f"firmware {running} runs, not one of {sorted(self.firmware)}")
            self.firmware = {running}
            if self.latched and hello["state"] != "trip":
                self.wrong.append(f"the latch is gone: {hello['state']}")
            for what in ("settings", "profile"):
                may_be = {short_hash(each) for each in (self.acknowledged.get(what), offered.get(what)) if each}
                if what in self.acknowledged and hello[what] not in may_be:
                    self.wrong.append(f"{what} is {hello[what] or 'gone'}, not one of {sorted(may_be)}")
                if what in offered and hello[what] == short_hash(offered[what]):
                    self.acknowledged[what] = offered[what]
            self.archive, _ = fetch_log(link, self.archive, list_segments(link), lambda count: None)
            if self.archive.life != 1:
                self.wrong.append("rows that were fetched are not the board's any more")
