"""How long `bain holds` takes with ten thousand holds: the first time, and again. By hand, a minute:

    PYTHONPATH=firmware:host python tests/bench/many_holds.py [holds]
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from bainboard import settings


def make(home: Path, holds: int) -> None:
    """Facts as large as real ones; the list reads nothing else."""
    rig = {**settings.defaults(settings.SETTINGS), "name": "my pot"}
    for number in range(holds):
        folder = home / "holds" / f"dark-{number}"
        folder.mkdir(parents=True)
        started = datetime(2020, 1, 1, tzinfo=UTC) + timedelta(hours=5 * number)
        report = {"in_window_fraction": 0.98, "bowl_peak_c": 32.0, "summary": "Held dark. " * 40}
        facts = {"started": started.isoformat(), "ended": "done", "duration_s": 12000.0, "trips": [], "rig": rig,
                 "profile": {"name": "dark", "kind": "dark"}, "report": report}
        (folder / "hold.json").write_text(json.dumps(facts, indent=2))


def main(holds: int = 10_000) -> None:
    """Print seconds of the whole command, the interpreter's start included, by the clock and of the processor."""
    with tempfile.TemporaryDirectory() as home:
        make(Path(home), holds)
        for name, options in (("first", ()), ("again", ()), ("again", ()), ("last month", ("--since", "30d"))):
            began, used = time.perf_counter(), os.times()
            subprocess.run([sys.executable, "-m", "bainwright", "holds", *options], check=True,
                           stdout=subprocess.DEVNULL, env={**os.environ, "BAIN_HOME": home})  # fmt: skip
            now = os.times()
            cpu_s = now.children_user + now.children_system - used.children_user - used.children_system
            print(f"{holds} holds, {name}: {time.perf_counter() - began:.2f} s, of the processor {cpu_s:.2f} s")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
