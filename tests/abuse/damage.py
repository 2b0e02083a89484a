"""Files as a disk, an editor or a stranger leaves them, and the commands that read them."""

from __future__ import annotations

import json
import os
import random
import re
import shutil
from collections.abc import Callable
from pathlib import Path

from bainwright.files import chocolate, rig

Damage = Callable[[Path, random.Random], None]

WORDS = [
    b"nan", b"inf", b"-inf", b"1e999", b"-1e300", b"null", b"[]", b"{}", b'""', b"true", b"9" * 5000,
    b"0x" + b"f" * 900,
    b"2026-13-45", b'"\\u001b[2J"', b'"\\u0000"', b"-0", b"1e-400", b"9007199254740993", b'"../../../x"',
]  # fmt: skip
HUGE_BYTES = 100 << 20


def flip(path: Path, rng: random.Random) -> None:
    """Some bits of it."""
    data = bytearray(path.read_bytes())
    for _ in range(rng.choice((1, 1, 1, 3, 20))):
        data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
    path.write_bytes(data)


def cut(path: Path, rng: random.Random) -> None:
    """Its end."""
    data = path.read_bytes()
    path.write_bytes(data[: rng.randrange(len(data))])


def swap(path: Path, rng: random.Random) -> None:
    """A value for something that is none."""
    data = path.read_bytes()
    found = list(re.finditer(rb'-?\d+\.?\d*|"[^"\n]*"|true|false|null', data))
    if found:
        one = rng.choice(found)
        path.write_bytes(data[: one.start()] + rng.choice(WORDS) + data[one.end() :])


def insert(path: Path, rng: random.Random) -> None:
    """Bytes that belong nowhere."""
    data = path.read_bytes()
    at = rng.randrange(len(data) + 1)
    junk = rng.choice((b"\xff\xfe\x80", b"\0" * 9, b"\x1b]0;x\x07", b"[" * 5000, b"{" * 5000, b'"', b"\n\n",
                       b"\xef\xbb\xbf", b"," * 50, b"a." * 3000))  # fmt: skip
    path.write_bytes(data[:at] + junk + data[at:])


def deep(path: Path, rng: random.Random) -> None:
    """Nested more deeply than any reader goes."""
    path.write_bytes(rng.choice((b"[" * 100_000, b'{"a":' * 50_000, b"a = " + b"[" * 50_000,
                                 b"[" + b"a." * 50_000 + b"b]")))  # fmt: skip


def empty(path: Path, rng: random.Random) -> None:
    """Nothing in it."""
    path.write_bytes(b"")


def huge(path: Path, rng: random.Random) -> None:
    """100 MB of what it was."""
    line = rng.choice((b"a = 1\n", b"# x\n", path.read_bytes()[:4000] + b"\n"))
    path.write_bytes(line * (HUGE_BYTES // len(line)))


def pipe(path: Path, rng: random.Random) -> None:
    """A FIFO that nobody writes to."""
    path.unlink()
    os.mkfifo(path)


def device(path: Path, rng: random.Random) -> None:
    """A link to a device that never ends."""
    path.unlink()
    path.symlink_to(rng.choice(("/dev/zero", "/dev/urandom", "/dev/tty")))


def folder(path: Path, rng: random.Random) -> None:
    """A folder of that name."""
    path.unlink()
    path.mkdir()


def other_lines(path: Path, rng: random.Random) -> None:
    """The line ends of another system, with or without a byte order mark."""
    mark, end = rng.choice((b"", b"\xef\xbb\xbf")), rng.choice((b"\r\n", b"\r"))
    path.write_bytes(mark + path.read_bytes().replace(b"\n", end))


def other_letters(path: Path, rng: random.Random) -> None:
    """Another encoding, or digits of another script."""
    data = path.read_bytes()
    with_digits = data.replace(b"3", rng.choice(("\u0663", "\uff13", "\u00b3")).encode())
    path.write_bytes(rng.choice((with_digits, data.decode(errors="replace").encode("utf-16"))))


def turned_back(path: Path, rng: random.Random) -> None:
    """A clock that went back: a part of the lines comes again, before or after the others."""
    first, *lines = path.read_bytes().splitlines(keepends=True) or [b""]
    at = rng.randrange(len(lines) + 1)
    path.write_bytes(b"".join(rng.choice(([first, *lines[at:], *lines[:at]], [first, *lines, *lines[:at]]))))


def far_away(path: Path, rng: random.Random) -> None:
    """A year that no clock shows."""
    path.write_bytes(path.read_bytes().replace(b"2026", rng.choice((b"0001", b"9999", b"0000"))))


def long_line(path: Path, rng: random.Random) -> None:
    """A line of many megabytes, before or after the others."""
    line = rng.choice((b"9", b'"', b",", b"[", b"\0")) * 12_000_000
    path.write_bytes(rng.choice((line + path.read_bytes(), path.read_bytes() + line)))


def no_file(path: Path, rng: random.Random) -> None:
    """A link to nothing, or to itself."""
    path.unlink()
    path.symlink_to(rng.choice(("nowhere", path.name)))


OFTEN: list[Damage] = [
    flip, flip, cut, swap, swap, swap, swap, insert, insert, deep, empty, other_lines, other_letters, turned_back,
    far_away,
]  # fmt: skip
SELDOM: list[Damage] = [pipe, device, folder, huge, long_line, no_file]


def sound(here: Path, hold: Path) -> None:
    """A folder with one of each file a command reads; `hold` is a hold's."""
    shutil.copytree(hold, here / "holds" / "dark-1")
    (here / "elsewhere.txt").write_text(f"{here / 'gone-1'}\n{here / 'gone-2'}\n")
    (here / "list.json").write_text('{"schema": 2, "holds": {}}')
    (here / "r.toml").write_text((rig.BUNDLED / "pot.toml").read_text())
    (here / "c.toml").write_text((chocolate.BUNDLED / "dark.toml").read_text())
    (here / "g.toml").write_text("[water]\nkp = 0.7\n")
    (here / "s.toml").write_text('title = "x"\nduration_s = 60.0\n[[event]]\nkind = "refill"\nat_s = 20.0\n'
                                 "mass_kg = 0.1\ntemp_c = 20.0\n")
    point = {"bath": "fever", "true_c": 38.0, "true_u_k": 0.1, "raw_c": 38.1, "raw_u_k": 0.02,
             "at": "2026-11-01T10:00:00+00:00"}  # fmt: skip
    record = {"warmer": "pot", "probes": {"water": {"place": "water", "points": [point], "at": point["at"]}}}
    (here / "r-calibration.json").write_text(json.dumps(record))
    result = {"passed": True, "at": "2026-11-01T10:00:00+00:00", "belongs": "0" * 8, "took_s": 1.0, "limit_s": 2.0}
    (here / "drill.json").write_text(json.dumps({"warmer": "pot", "simulated": False, "items": {"open": result}}))


READERS: list[tuple[str, list[str]]] = [
    ("r.toml", ["rig", "show", "r.toml"]),
    ("r.toml", ["rig", "check", "r.toml"]),
    ("r.toml", ["plan", "dark", "--rig", "r.toml", "--total", "500g"]),
    ("r.toml", ["drill", "--show", "--rig", "r.toml"]),
    ("c.toml", ["profile", "show", "c.toml"]),
    ("c.toml", ["profile", "check", "c.toml"]),
    ("drill.json", ["drill", "--show", "--rig", "r.toml", "--out", "drill.json"]),
    ("r-calibration.json", ["calibrate", "--show", "--rig", "r.toml"]),
    ("s.toml", ["hold", "c.toml", "--virtual", "r.toml", "--scenario", "s.toml", "--plant", "none.py:X"]),
    ("g.toml", ["hold", "c.toml", "--virtual", "r.toml", "--gains", "g.toml", "--plant", "none.py:X"]),
    *[(f"holds/dark-1/{name}", command)
      for name in ("hold.csv", "events.jsonl", "hold.json", "temper.json", "stock.json", "hold.parquet", "hold.svg")
      for command in (["temper", "holds/dark-1"], ["stock", "holds/dark-1"], ["show", "dark-1"], ["holds"], ["stock"],
                      ["stock", "holds/dark-1", "--left", "100g"], ["review", "last", "--report", "r.html"])],
    *[(name, command) for name in ("elsewhere.txt", "list.json") for command in (["holds"], ["show", "dark-1"])],
]  # fmt: skip


def case(number: int, here: Path, hold: Path) -> tuple[list[str], str]:
    """Prepare a damaged folder; the command, and what was done."""
    rng = random.Random(number)
    name, command = READERS[number % len(READERS)]
    sound(here, hold)
    how = rng.choice(SELDOM) if rng.random() < 0.06 else rng.choice(OFTEN)
    how(here / name, rng)
    if name.endswith("hold.parquet"):
        (here / "holds/dark-1/hold.csv").write_bytes(b"PAR1" + b"\0" * 20)
    return command, f"{how.__name__} {name}"
