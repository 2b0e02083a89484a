"""A whole evening at 60 times its speed, led from a phone's page alone, from bowl in to rest; four minutes.

The phone is reloaded, sleeps, and loses its link for a minute; a second program that serves the page is restarted.
Run by hand, as `page_in_browser.py`; with -s it prints how long each act took to be confirmed.
"""

import contextlib
import re
import shutil
import socket
import subprocess
import sys
import threading
import time
import tomllib
from pathlib import Path

from page_in_browser import asleep
from playwright.sync_api import expect, sync_playwright

import bainwright
from bainwright.record.reader import read_log

BAIN = [sys.executable, "-m", "bainwright"]
BUNDLED = Path(bainwright.__file__).parent / "virtual/scenarios/whole_evening.toml"
STAGES = ["melt", "seed", "settle", "test", "work", "rest"]
LOST_S = 60.0  # of the kitchen's clock
# When the person acts, in seconds of the hold, what the warmer asks then, and the button.
BEFORE_DIPPING = (
    (4290, "all_melted", "Yes"), (4320, None, "Bowl off"), (4920, "seed_in", "Yes"), (4950, None, "Bowl back"),
    (5410, "stir", "Yes"), (5500, "test", "Yes"), (5770, "setting", "Yes"),
)  # fmt: skip


class Wire:
    """Between browser and page; while it is lost, nothing passes and nobody learns why."""

    def __init__(self, port):
        self._to, self._open = port, threading.Event()
        self._open.set()
        self._door = socket.create_server(("127.0.0.1", 0))
        self.port = self._door.getsockname()[1]
        threading.Thread(target=self._accept, daemon=True).start()

    @contextlib.contextmanager
    def lost(self):
        self._open.clear()
        yield
        self._open.set()

    def _accept(self):
        while True:
            here = self._door.accept()[0]
            there = socket.create_connection(("127.0.0.1", self._to))
            for one, other in ((here, there), (there, here)):
                threading.Thread(target=self._carry, args=(one, other), daemon=True).start()

    def _carry(self, one, other):
        with contextlib.suppress(OSError):
            while piece := one.recv(65536):
                self._open.wait()
                other.sendall(piece)
            other.shutdown(socket.SHUT_WR)


def kitchen_alone(folder):
    """The bundled evening without its answers: dips, seed and water happen, and the person acts on the page."""
    kept = []
    for block in BUNDLED.read_text().replace("reported = true", "reported = false").split("[[event]]"):
        kind = re.search(r'kind = "(\w+)"', block)
        if not kind or kind[1] not in ("confirm", "finish"):
            kept.append(block.replace("duration_s = 12330", "duration_s = 16000"))
    text = "[[event]]".join(kept)
    assert {each["kind"] for each in tomllib.loads(text)["event"]} == {"stir", "bowl_off", "seed", "water_swap",
                                                                      "bowl_on", "dip"}  # fmt: skip
    path = folder / "alone.toml"
    path.write_text(text)
    return path


@contextlib.contextmanager
def program(*arguments):
    """A bain of its own, and the lines that it says."""
    process, lines = subprocess.Popen([*BAIN, *arguments], stderr=subprocess.PIPE, text=True), []
    threading.Thread(target=lambda: lines.extend(process.stderr), daemon=True).start()
    try:
        yield process, lines
    finally:
        process.terminate()
        process.wait(60)


def link_of(lines):
    """The link that pairs a phone, once it is said."""
    for _ in range(600):
        if found := re.search(r"http://127\.0\.0\.1:(\d+)/in/\w+", "".join(lines)):
            return found[0], int(found[1])
        time.sleep(0.05)
    raise AssertionError(lines)


def time_of(page):
    return int(page.locator(".now").get_attribute("data-t"))


def wait_until(page, at_s, ask):
    """Wait for the hold's time, and for what the warmer asks."""
    for _ in range(3000):
        if time_of(page) >= at_s and ask in (None, page.locator(".now").get_attribute("data-ask")):
            return
        page.wait_for_timeout(50)
    raise AssertionError((time_of(page), page.locator(".now").get_attribute("data-ask"), at_s, ask))


def press(page, name, took):
    """Press a button; notes how long its confirmation took."""
    page.locator("#reply").evaluate("each => { each.textContent = ''; }")
    page.wait_for_timeout(1600)  # sooner, it would be a knuckle that bounces
    begun = time.monotonic()
    page.get_by_role("button", name=name, exact=True).click()
    expect(page.locator("#reply")).to_contain_text(re.compile("the warmer has it|Not|not"), timeout=8000)
    took.append((name, time.monotonic() - begun, page.locator("#reply").inner_text()))


def points(page):
    """How many moments the line of the whole hold has, and is it one line?"""
    path = page.locator("figure path.chocolate").last.get_attribute("d")
    return len(re.findall("[ML]", path)), path.count("M")


def test_an_evening_is_led_from_the_page_alone(tmp_path, monkeypatch):
    monkeypatch.setenv("BAIN_HOME", str(tmp_path))
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    out, took = tmp_path / "hold", []
    arguments = ["hold", "dark", "--virtual", "--from", "melt", "--scenario", str(kitchen_alone(tmp_path)),
                 "--speed", "60", "--page", "--out", str(out)]  # fmt: skip
    with program(*arguments) as (hold, lines), sync_playwright() as playwright:
        link, port = link_of(lines)
        wire = Wire(port)
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"),
            args=["--no-sandbox", f"--host-resolver-rules=MAP 127.0.0.1:{port} 127.0.0.1:{wire.port}"])
        page = browser.new_context(viewport={"width": 360, "height": 740}).new_page()
        page.goto(link)
        page.get_by_role("button", name="Pair").click()
        page.locator(".now").wait_for(timeout=60_000)
        for at_s, ask, name in BEFORE_DIPPING:
            wait_until(page, at_s, ask)
            page.screenshot(path=tmp_path / f"{at_s}.png")
            press(page, name, took)

        # Offered once the dipping has begun, at a time of the simulated chocolate's own.
        page.get_by_role("button", name="A refill is coming", exact=True).wait_for(timeout=60_000)
        before, pieces = points(page)
        with wire.lost():
            lost_at = time.monotonic()
            page.wait_for_timeout(1600)
            page.get_by_role("button", name="A refill is coming", exact=True).click()
            expect(page.locator("#link")).to_contain_text("No word from the PC", timeout=20_000)
            expect(page.locator("#reply")).to_contain_text("may have arrived", timeout=20_000)
            page.screenshot(path=tmp_path / "lost.png")
            page.wait_for_timeout(1000 * (LOST_S - (time.monotonic() - lost_at)))
        expect(page.locator("#missed")).to_contain_text("heard nothing for", timeout=20_000)
        expect(page.locator("#link")).to_be_hidden()
        page.screenshot(path=tmp_path / "found.png")
        after, pieces_after = points(page)
        assert pieces == pieces_after == 1
        assert after - before >= 0.8 * LOST_S  # a moment each minute of the hold, so one a second of the kitchen

        page.reload()
        assert points(page)[0] >= after
        page.wait_for_timeout(2000)  # it has heard the PC
        with asleep(browser):
            time.sleep(8.0)
        expect(page.locator("#missed")).to_contain_text("heard nothing for", timeout=20_000)

        with program("page", "--page-at", "127.0.0.1:18024") as (first, said):
            second = browser.new_context().new_page()
            second.goto(f"http://127.0.0.1:{link_of(said)[1]}/")
            expect(second.locator(".figure")).to_contain_text("31.", timeout=20_000)
            first.kill()
            expect(second.locator("#link")).to_contain_text("No word from the PC", timeout=20_000)
        with program("page", "--page-at", "127.0.0.1:18024"):
            expect(second.locator("#link")).to_be_hidden(timeout=30_000)
            expect(second.locator(".figure")).to_contain_text("31.")
            assert points(second)[0] >= after
        press(page, "It thickens", took)
        press(page, "It thins", took)

        wait_until(page, 11700, None)
        page.get_by_text("Lock, end or stop").click()
        page.get_by_text("The dipping is over …").click()
        press(page, "The dipping is over: yes, heat off", took)
        wait_until(page, time_of(page) + 360, "spread")
        press(page, "Yes", took)
        expect(page.locator(".now")).to_contain_text("The hold is over", timeout=30_000)
        page.screenshot(path=tmp_path / "over.png")
        assert hold.wait(120) == 0
        browser.close()
    log = read_log(out)
    assert [str(each) for at, each in enumerate(log["stage"]) if at == 0 or each != log["stage"][at - 1]] == STAGES
    assert not [event for event in log.events if event["event"] == "trip"]
    assert not [event for event in log.events if event["event"] == "announce"]  # sent while the link was lost
    for name, seconds, words in took:
        print(f"{seconds:5.2f} s  {name}: {words}")
        assert "the warmer has it" in words
