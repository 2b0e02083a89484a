"""Commands on a disk with little room: so many more pages, or so many more files, and then it is full."""

from __future__ import annotations

import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from . import damage
from .parts import Tally, sandbox, sound_hold
from .running import Outcome, run

WRITERS: list[list[str]] = [
    ["hold", "dark", "--virtual", "--for", "60s"],
    ["hold", "dark", "--virtual", "--for", "60s", "--out", "out"],
    ["show", "dark-1"],
    ["temper", "holds/dark-1", "--minutes", "4"],
    ["stock", "holds/dark-1", "--left", "100g"],
    ["review", "dark-1", "--report", "r.html"],
    ["export", "e.zip", "dark-1"],
    ["export", "e.csv", "dark-1"],
    ["plan", "dark", "--total", "500g", "--page", "p.html"],
    ["holds"],
    ["collect", "--virtual", "night.img"],
    ["gather", "other.zip"],
    ["temper", "holds/dark-1", "--undo"],
    ["stock", "holds/dark-1", "--undo"],
    ["tune", "--undo", "--out", "g.toml"],
]
APART = {"list.json", "elsewhere.txt"}  # made again each time it is missing; has the folder's name in it
WHOLE = 0.95  # of the bytes: times of day and how long it took differ by a few letters
PAGES = 120  # of 4 KB; chosen: more than any of these commands writes, so that the last cases succeed


def can_mount() -> bool:
    """Only the administrator of a Linux system can make a small disk."""
    return sys.platform == "linux" and os.geteuid() == 0


@contextmanager
def small_disk(here: Path) -> Iterator[None]:
    """A disk of its own on this folder, with what is in it."""
    moved = here.with_name("moved")
    here.rename(moved)
    here.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "none", str(here)], check=True)
    try:
        shutil.copytree(moved, here, dirs_exist_ok=True)
        shutil.rmtree(moved)
        yield
    finally:
        subprocess.run(["umount", "--lazy", str(here)], check=True)


def fill(here: Path, *, pages: int | None = None, files: int | None = None) -> None:
    """Leave room for so many pages or files more."""
    disk = os.statvfs(here)
    limits = []
    if pages is not None:
        limits.append(f"size={(disk.f_blocks - disk.f_bfree + pages) * disk.f_frsize}")
    if files is not None:
        limits.append(f"nr_inodes={disk.f_files - disk.f_ffree + files}")
    subprocess.run(["mount", "-o", ",".join(["remount", *limits]), str(here)], check=True)


def small_disks(numbers: Iterable[int]) -> Tally:
    """Commands that write, each on a disk that fills up somewhere on the way.

    An exit status of 0 means that all is there that the same command leaves on a disk with room. After any other, a
    file that was there before is the one before or a whole new one.
    """
    tally = Tally()
    whole: dict[int, dict[str, int]] = {}
    sound = sound_hold()  # before the folder for temporary files is another
    with tempfile.TemporaryDirectory(prefix="abuse-") as name, _other_disk(Path(name)):
        base = Path(name)
        hold = Path(shutil.copytree(sound, base / "hold"))
        (hold / "hold.png").unlink()  # for `show` to draw
        more = _made(base, hold)
        for number in numbers:
            which, rng = number % len(WRITERS), random.Random(number)
            command = WRITERS[which]
            if which not in whole:
                with sandbox(base, f"whole-{which}") as here:
                    damage.sound(here, hold)
                    shutil.copytree(more, here, dirs_exist_ok=True)
                    run(command, here)
                    whole[which] = _sizes(here)
            with sandbox(base, str(number)) as here:
                damage.sound(here, hold)
                shutil.copytree(more, here, dirs_exist_ok=True)
                before = {_name(here, path): path.read_bytes() for path in _files(here)}
                room = {"pages": rng.randrange(PAGES)} if rng.random() < 0.7 else {"files": rng.randrange(12)}
                with small_disk(here):
                    fill(here, **room)
                    outcome = run(command, here)
                    outcome.wrong += _missing(outcome, whole[which], _sizes(here))
                    outcome.wrong += _spoilt(here, before, whole[which])
                tally.add(f"disk {number} ({room}; bain {' '.join(command)})", outcome)
    return tally


def _made(base: Path, hold: Path) -> Path:
    """What the commands need besides: a board's flash with a hold on it, another hold's archive, entries to undo."""
    with sandbox(base, "make") as here:
        damage.sound(here, hold)
        for command in (["temper", "holds/dark-1", "--minutes", "5"], ["stock", "holds/dark-1", "--left", "200g"],
                        ["hold", "dark", "--virtual", "--for", "60s", "--image", "night.img", "--out", "watched"],
                        ["hold", "milk", "--virtual", "--for", "60s", "--out", "milk"],
                        ["export", "other.zip", "milk"]):  # fmt: skip
            outcome = run(command, here)
            assert outcome.code in (0, 1), outcome.said.decode()
        more = base / "more"
        (more / "holds").mkdir(parents=True)
        shutil.copytree(here / "holds/dark-1", more / "holds/dark-1")
        (more / "holds/dark-1/hold.png").unlink(missing_ok=True)
        for name in ("night.img", "other.zip"):
            shutil.copy(here / name, more)
    (more / "g.toml").write_text("[water]\nkp = 0.5\n")
    (more / "g.toml.before").write_text("[water]\nkp = 0.6\n")
    return more


@contextmanager
def _other_disk(base: Path) -> Iterator[None]:
    """The system's folder for temporary files, on a disk with room: where a log may move to."""
    before, tempfile.tempdir = tempfile.tempdir, str(base / "temporary")
    Path(tempfile.tempdir).mkdir()
    try:
        yield
    finally:
        tempfile.tempdir = before


def _files(here: Path) -> list[Path]:
    return [path for path in here.rglob("*") if path.is_file() and path.name not in APART]


def _name(here: Path, path: Path) -> str:
    return str(path.relative_to(here))


def _sizes(here: Path) -> dict[str, int]:
    return {_name(here, path): path.stat().st_size for path in _files(here)}


def _missing(outcome: Outcome, wanted: dict[str, int], found: dict[str, int]) -> Iterator[str]:
    """What a command that reports success did not write."""
    if outcome.code == 0:
        for name, size in wanted.items():
            if found.get(name, -1) < WHOLE * size:
                yield f"exit status 0, but {name} has {found.get(name, 'no')} of {size} bytes"


def _spoilt(here: Path, before: dict[str, bytes], wanted: dict[str, int]) -> Iterator[str]:
    """A file of before that is neither what it was nor a new one, and files that were never finished."""
    for name, content in before.items():
        path = here / name
        now = path.read_bytes() if path.is_file() else b""
        new = wanted.get(name, 0)  # an entry that is undone leaves no copy
        if now != content and len(now) < WHOLE * new:
            yield f"{name} had {len(content)} bytes, has {len(now)}, and a new one has {new}"
    for path in _files(here):
        if path.name.endswith(".new"):
            yield f"left {path.name}"
