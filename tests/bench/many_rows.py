"""An archive of ten thousand holds and 400 million rows: made, then asked. By hand, a quarter of an hour and 5 GB:

    PYTHONPATH=firmware:host python tests/bench/many_rows.py FOLDER [holds]

Each hold is a file in either table, as a home's archive has them. The rows are those of fifty patterns that DuckDB
wrote, each with the hold's own id put in place of the pattern's; only `at_utc`, which no question reads, is then the
pattern's. Every figure is time of the processor, so that other programs do not count, and memory is the most that a
process of its own had.
"""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import msgspec
from many_holds import make as make_home

from bainwright.archive import figures, schema, store
from bainwright.archive.engines import opened

ROWS_A_HOLD = 40_000  # eleven hours, a row a second
WARMERS, FIRST = 100, datetime(2026, 1, 1, 20)
NIGHTS_OF_13_M = 325  # holds: 13 million rows
PATTERNS, OF_PATTERN = 50, "pattern-pattern-"  # of its rows, and the id that stands in them
AGAIN = 3  # the least of so many counts


def make(archive: Path, holds: int) -> None:
    """Holds in turn on each warmer, one a day; a hold that is there already stays."""
    import duckdb

    archive.mkdir(parents=True, exist_ok=True)
    (archive / store.MARK).write_bytes(msgspec.json.encode(store.Mark(schema.VERSION)))
    with duckdb.connect() as database, tempfile.TemporaryDirectory() as scratch:
        database.execute("SET threads = 1; SELECT setseed(0.17)")
        patterns = []
        for number in range(PATTERNS):
            path = Path(scratch) / f"{number}.parquet"
            database.execute(f"COPY ({_rows(OF_PATTERN, FIRST)}) TO '{path}' "
                             "(FORMAT parquet, WRITE_BLOOM_FILTER false)")
            patterns.append(path.read_bytes())
        for number in range(holds):
            started = FIRST + timedelta(days=number // WARMERS)
            name = f"{number:016x}"
            file = f"warmer=pot-{number % WARMERS}-b{number % WARMERS}/month={started:%Y-%m}/{name}.parquet"
            if (archive / "holds" / file).exists():
                continue
            for table in schema.TABLES:
                (archive / table / file).parent.mkdir(parents=True, exist_ok=True)
            pattern = patterns[number % PATTERNS]
            (archive / "rows" / file).write_bytes(pattern.replace(OF_PATTERN.encode(), name.encode()))
            database.execute(f"COPY ({_hold(name, number, started)}) TO '{archive / 'holds' / file}' (FORMAT parquet)")


def _rows(name: str, started: datetime) -> str:
    """A row a second; readings in the steps of a probe, as a real one's are."""
    values = {
        "hold_id": f"'{name}'", "at_utc": f"TIMESTAMP '{started}' + to_seconds(i)", "lasts_s": "1", "t_s": "i",
        "state": "'hold'", "stage": "'work'", "water_c": "round((33 + sin(i / 900) / 5 + random() / 8) * 16) / 16",
        "bowl_c": "round((31.5 + sin(i / 2500) / 4 + random() / 8) * 16) / 16", "bowl_estimated": "false",
        "target_c": "31.5", "water_target_c": "round(33 + sin(i / 900) / 5, 2)",
        "duty": "round(0.2 + sin(i / 900) / 20 + random() / 50, 3)", "on_ms": "200", "fault": "0", "warn": "0",
        "ask": "''"}  # fmt: skip
    cells = ", ".join(f'CAST({values[each]} AS {kind}) AS "{each}"' for each, kind in schema.ROWS.items())
    return f"SELECT {cells} FROM range(1, {ROWS_A_HOLD + 1}) AS seconds(i)"


def _hold(name: str, number: int, started: datetime) -> str:
    at = number % WARMERS
    values = {
        "hold_id": f"'{name}'", "hold": f"'dark-{number}'", "warmer_name": f"'pot {at}'", "board": f"'b{at}'",
        "board_hold": str(number // WARMERS), "started_utc": f"TIMESTAMP '{started}'", "duration_s": str(ROWS_A_HOLD),
        "chocolate": "'dark'", "kind": "'dark'", "firmware": "'0.1.0'", "virtual": "false", "ended": "'done'",
        "verdict": "'in window'", "temper": "''", "trips": "0", "below_s": "0", "inside_s": str(ROWS_A_HOLD),
        "above_s": "0", "unknown_s": "0", "exposure_k_min": "0", "bowl_low_c": "31", "bowl_peak_c": "32",
        "water_peak_c": "33.5", "heater_w": "150", "room_c": "20", "rows": str(ROWS_A_HOLD)}  # fmt: skip
    cells = ", ".join(f'CAST({values[each]} AS {kind}) AS "{each}"' for each, kind in schema.HOLDS.items())
    return f"SELECT {cells}"


BARE = """SELECT hold_id, sum(lasts_s), sum(duty * lasts_s),
    sum(water_c * lasts_s) FILTER (water_c IS NOT NULL) / sum(lasts_s) FILTER (water_c IS NOT NULL),
    sum(bowl_c * lasts_s) FILTER (bowl_c IS NOT NULL AND NOT bowl_estimated)
        / sum(lasts_s) FILTER (bowl_c IS NOT NULL AND NOT bowl_estimated)
    FROM read_parquet({files}) GROUP BY hold_id"""


def night_ratio(archive: Path) -> None:
    """The sums of each night over 13 million rows: by our expression, and by DuckDB alone with SQL written by hand."""
    import duckdb

    files = sorted(map(str, archive.glob("rows/*/*/*.parquet")))[:NIGHTS_OF_13_M]
    part = archive.parent / f"{archive.name}-13-million"
    for file in files:
        for table in schema.TABLES:
            link = part / table / Path(file).relative_to(archive / "rows")
            link.parent.mkdir(parents=True, exist_ok=True)
            if not link.exists():
                os.link(archive / table / Path(file).relative_to(archive / "rows"), link)
    (part / store.MARK).write_bytes((archive / store.MARK).read_bytes())
    ours, bare, whole = [], [], []
    with opened("duckdb", part) as ask, duckdb.connect() as database:
        for _ in range(AGAIN):
            ours.append(_cpu_s(lambda: ask(figures.measured(figures.Chosen(), None))))
            bare.append(_cpu_s(lambda: database.execute(BARE.format(files=files)).fetchall()))
            whole.append(_cpu_s(lambda: ask(figures.per(figures.NIGHT, figures.Chosen()))))
    first, plain, full = min(ours), min(bare), min(whole)
    print(f"{len(files) * ROWS_A_HOLD / 1e6:.0f} M rows, sums a night: {first:.2f} s, bare DuckDB {plain:.2f} s, ratio "
          f"{first / plain:.2f}; with what each hold was {full:.2f} s, ratio {full / plain:.2f}", flush=True)


def _cpu_s(work: Callable[[], object]) -> float:
    began = time.process_time()
    work()
    return time.process_time() - began


def command(words: str, *typed: str, home: Path) -> None:
    """A whole command: time of the processor, the interpreter's start included, and the most memory it had."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    code = ("import resource, sys; from bainwright.cli import main; code = main(sys.argv[1:]); "
            "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024, code, file=sys.stderr)")
    done = subprocess.run([sys.executable, "-c", code, *typed], capture_output=True, text=True,
                          env={**os.environ, "BAIN_HOME": str(home)}, check=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    memory_mb, status = done.stderr.split()[-2:]
    print(f"{words}: {cpu_s:.2f} s, {memory_mb} MB, exit {status}, {len(done.stdout.splitlines())} lines", flush=True)


def main(folder: str, holds: str = "10000") -> None:
    """Make what is missing, then measure."""
    archive, home = Path(folder) / "archive", Path(folder) / "home"
    began = time.process_time()
    make(archive, int(holds))
    size = sum(path.stat().st_size for path in archive.rglob("*.parquet"))
    print(f"made {holds} holds, {int(holds) * ROWS_A_HOLD / 1e6:.0f} M rows, {size / 1e9:.2f} GB,"
          f" {time.process_time() - began:.0f} s", flush=True)
    if not (home / "holds").exists():
        make_home(home, int(holds))
    night_ratio(archive)
    asked = ("holds", "--archive", str(archive), "--per")
    command("the list, first", "holds", home=home)
    command("the list, again", "holds", home=home)
    command("a month of one warmer", *asked, "night", "--warmer", "pot 7", "--since", "2026-04-01", home=home)
    command("all of one warmer", *asked, "night", "--warmer", "pot 7", home=home)
    command("every warmer, all rows", *asked, "warmer", home=home)
    command("every month, all rows", *asked, "month", home=home)
    print(json.dumps({"at": datetime.now(UTC).isoformat(timespec="seconds"), "load": os.getloadavg()}))


if __name__ == "__main__":
    main(*sys.argv[1:])
