"""What the page costs: fifty phones, a night of twelve hours, its first load in a browser. By hand, two minutes.

    .venv/bin/pip install -e '.[browser]' && apt-get install chromium
    PYTHONPATH=firmware:host:tests/host python tests/bench/page_load.py
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

PHONES = 50
WATCHED_S = 30.0
NIGHT_S = 12 * 3600
HOLD = ["hold", "dark", "--virtual", "--for", "8m", "--speed", "60"]


def serve_a_night() -> None:
    """In a process of its own: a night's page, with two moments a second; a line on stdin plays twelve more hours."""
    from fake_board import status_line
    from page_tools import scene_at

    from bainwright.link.messages import decode
    from bainwright.live.live_hold import LiveHold
    from bainwright.live.now import now_of
    from bainwright.page.hosting import HoldPage

    scene, hold = scene_at(), LiveHold()

    def see(t_s: int) -> None:
        scene.see(t_s, decode(status_line(t_s + 1, 1000 * t_s, bowl=31500 + t_s % 125).strip()))

    for t_s in range(5460, NIGHT_S, 60):
        see(t_s)
    ends, at_s = threading.Event(), [NIGHT_S]

    def put() -> None:
        while not ends.wait(0.5):
            at_s[0] += 1
            see(at_s[0])
            hold.latest.put(now_of(scene), time.monotonic())

    with HoldPage(["127.0.0.1"], 0, [], hold) as page:
        threading.Thread(target=put, daemon=True).start()
        print(page.port, flush=True)
        for _ in sys.stdin:
            for t_s in range(at_s[0] + 60, at_s[0] + NIGHT_S, 60):
                see(t_s)
            at_s[0] += NIGHT_S
            print("played", flush=True)
        ends.set()


def cpu_s(process: int) -> float:
    """User and system time of a process (proc(5), fields 14 and 15 of stat)."""
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def memory_mb(process: int) -> float:
    """What a process has in memory."""
    found = re.search(r"VmRSS:\s+(\d+) kB", Path(f"/proc/{process}/status").read_text())
    assert found
    return int(found[1]) / 1024


class Phones:
    """Clients that read the stream without pause, and ask again when it ends, as a browser does."""

    def __init__(self, port: int) -> None:
        self.read, self._port, self._ends = [0] * PHONES, port, threading.Event()
        for number in range(PHONES):
            threading.Thread(target=self._take, args=(number,), daemon=True).start()

    def _take(self, number: int) -> None:
        while not self._ends.is_set():
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", self._port), 60) as connection:
                asked = f"GET /live HTTP/1.1\r\nHost: 127.0.0.1:{self._port}\r\nConnection: close\r\n\r\n"
                connection.sendall(asked.encode())
                while not self._ends.is_set() and (piece := connection.recv(65536)):
                    self.read[number] += len(piece)
            time.sleep(0.5)

    def close(self) -> None:
        self._ends.set()


def watched_night() -> None:
    """Fifty phones on a night of twelve hours, then on one of twenty-four."""
    command = [sys.executable, __file__, "serve"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as server:
        assert server.stdin
        assert server.stdout
        port = int(server.stdout.readline())
        time.sleep(2.0)  # the first moment is there
        first_load(port)
        alone_s = timed_cpu_s(server.pid)
        phones = Phones(port)
        time.sleep(2.0)
        used_s = timed_cpu_s(server.pid)
        shares = f"{100 * used_s / WATCHED_S:.1f} % of a core, {100 * alone_s / WATCHED_S:.1f} % with none"
        print(f"{PHONES} phones: {shares}; each read {min(phones.read) / 1000:.0f} to {max(phones.read) / 1000:.0f} KB")
        before_mb = memory_mb(server.pid)
        print("\n", file=server.stdin, end="", flush=True)
        server.stdout.readline()
        time.sleep(5.0)
        print(f"memory: {before_mb:.0f} MB after 12 h, {memory_mb(server.pid):.0f} MB after 24 h")
        phones.close()
        server.stdin.close()


def timed_cpu_s(process: int) -> float:
    """CPU time of a process over `WATCHED_S`."""
    before_s = cpu_s(process)
    time.sleep(WATCHED_S)
    return cpu_s(process) - before_s


def first_load(port: int) -> None:
    """Of a night of twelve hours: bytes, and times on the browser's own clock."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        paints, charts, sizes = [], [], []
        for _ in range(5):
            page = browser.new_context(viewport={"width": 360, "height": 740}).new_page()
            page.goto(f"http://127.0.0.1:{port}/")
            page.wait_for_timeout(1000)
            paint_ms, loaded_ms, size = page.evaluate("""() => {
                const whole = performance.getEntriesByType("navigation")[0];
                const parts = performance.getEntriesByType("resource").filter(each => !each.name.includes("/live"));
                return [performance.getEntriesByName("first-contentful-paint")[0].startTime,
                        whole.domContentLoadedEventEnd,
                        whole.transferSize + parts.reduce((sum, each) => sum + each.transferSize, 0)];
            }""")
            assert page.locator(".chart").count() == 2
            paints.append(paint_ms)
            charts.append(loaded_ms)
            sizes.append(size)
            page.close()
        browser.close()
    for what, times_ms in (("painted", paints), ("both charts in the page", charts)):
        print(f"first load, {what} after {sorted(times_ms)[2]:.0f} ms (worst {max(times_ms):.0f})")
    print(f"first load, {max(sizes) / 1000:.0f} KB")


def same_log() -> None:
    """One hold with fifty phones on its page, and one with no page."""
    with tempfile.TemporaryDirectory() as home:
        logs = []
        for name, options, beside in (("alone", [], None), ("watched", ["--page"], Phones)):
            out = Path(home) / name
            run_hold([*HOLD, *options, "--out", str(out)], home, beside)
            logs.append((out / "hold.csv").read_bytes())
        print(f"logs of {len(logs[0]):,} bytes with and without {PHONES} phones: "
              f"{'equal' if logs[0] == logs[1] else 'DIFFERENT'}")


def run_hold(arguments: list[str], home: str, beside: Callable[[int], Phones] | None) -> None:
    """A hold, with phones on its page where asked for."""
    environment = {**os.environ, "BAIN_HOME": home, "XDG_RUNTIME_DIR": home}
    with subprocess.Popen([sys.executable, "-m", "bainwright", *arguments], env=environment, text=True,
                          stdout=subprocess.DEVNULL, stderr=subprocess.PIPE) as hold:  # fmt: skip
        phones = None
        assert hold.stderr
        for line in hold.stderr:
            if beside and phones is None and (found := re.search(r"127\.0\.0\.1:(\d+)/in/", line)):
                phones = beside(int(found[1]))
        if phones:
            print(f"the hold's phones read {min(phones.read) / 1000:.0f} to {max(phones.read) / 1000:.0f} KB each")
            phones.close()


if __name__ == "__main__":
    if sys.argv[1:] == ["serve"]:
        serve_a_night()
    else:
        watched_night()
        same_log()
