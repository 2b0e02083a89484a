"""The page in a real browser: Debian's Chromium led by Playwright, judged by axe-core.

Run by hand, since CI has no browser (installing one takes longer than all tests of the page together):

    apt-get install chromium && .venv/bin/pip install -e '.[browser]'
    .venv/bin/python -m pytest -n 0 tests/browser/page_in_browser.py
"""

import asyncio
import contextlib
import os
import re
import shutil
import signal
import sys
import time
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from msgspec import structs
from playwright.sync_api import expect, sync_playwright

sys.path.insert(0, str(Path(__file__).parents[1] / "host"))
from page_tools import SharedHold, code_of, scene_at, served

from bainboard import faults
from bainwright import cli
from bainwright.live.now import now_of
from bainwright.page import server, stream
from bainwright.page.hosting import HoldPage, Page
from bainwright.words.advice import advise

PHONE, SMALLEST_PX = {"width": 360, "height": 740}, 44  # WCAG 2.5.5: targets of 44 by 44 CSS pixels
MOST_FIRST_LOAD_BYTES = 150_000
# Words of the targets that are shown and smaller than so many pixels.
SMALL_TARGETS = """least => [...document.querySelectorAll("button, summary")].filter(each => {
    const box = each.getBoundingClientRect();
    return box.width > 0 && Math.min(box.width, box.height) < least;
}).map(each => each.innerText)"""


@pytest.fixture(scope="module")
def chromium():
    """One browser for all tests."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        yield browser
        browser.close()


@contextlib.contextmanager
def phone(chromium, **options):
    """A phone's page; errors of scripts and of the security policy fail the test."""
    context = chromium.new_context(**{"viewport": PHONE, **options})
    page, errors = context.new_page(), []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.on("console", lambda line: errors.append(line.text) if "Content Security" in line.text else None)
    yield page
    context.close()
    assert errors == []


@contextlib.contextmanager
def asleep(chromium):
    """The processes that draw pages stand still, as a phone's do while it sleeps; its clock runs."""
    found = chromium.new_browser_cdp_session().send("SystemInfo.getProcessInfo")["processInfo"]
    drawing = [int(each["id"]) for each in found if each["type"] == "renderer"]
    assert drawing
    try:
        for each in drawing:
            os.kill(each, signal.SIGSTOP)
        yield
    finally:
        for each in drawing:
            os.kill(each, signal.SIGCONT)


def paired(page, hosted):
    """Pair the phone as its person does."""
    page.goto(f"http://127.0.0.1:{hosted.port}/in/{code_of(hosted)}")
    page.get_by_role("button", name="Pair").click()
    page.wait_for_url("**/")


def pouring():
    scene = scene_at(ask="pour")
    scene.calling, scene.prompt = True, "pour the refill in now and stir; then yes"
    return scene


def tripped():
    scene = scene_at(state="trip", fault=faults.OVER_HARD_LIMIT)
    scene.calling, scene.advice = True, advise(faults.OVER_HARD_LIMIT).lines()
    return scene


def long_named():
    """As long a name as a rig may have, without a space."""
    scene = pouring()
    scene.warmer = "W" * 32
    return scene


def kept_fresh(hosted, scene):
    """Put the moment again, so that it does not get old."""
    hosted.latest.put(now_of(scene), time.monotonic())


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("make", [scene_at, pouring, tripped])
def test_axe_finds_nothing_on_any_page(chromium, scheme, make):
    """And finds what is planted, so it did look."""
    scene = make()
    with served(scene) as hosted, phone(chromium, color_scheme=scheme, bypass_csp=True) as page:
        paired(page, hosted)
        for path in ("/", "/tonight", "/holds", "/holds/side-by-side", "/feeds", "/in"):
            kept_fresh(hosted, scene)
            page.goto(f"http://127.0.0.1:{hosted.port}{path}")
            found = Axe().run(page).response["violations"]
            assert [(each["id"], each["nodes"][0]["html"]) for each in found] == [], path
        page.evaluate("document.body.insertAdjacentHTML('beforeend', '<img src=\"data:,\"><button></button>')")
        assert Axe().run(page).violations_count >= 2


@pytest.mark.parametrize("width", [180, 320, 360, 640, 1280])
@pytest.mark.parametrize("make", [pouring, tripped, long_named])
def test_nothing_is_wider_than_the_screen_and_every_target_is_large(chromium, width, make):
    """180 is a phone at 200 % zoom, 640 a desktop at 200 %."""
    scene = make()
    with served(scene) as hosted, phone(chromium, viewport={"width": width, "height": 740}) as page:
        paired(page, hosted)
        for path in ("/", "/tonight", "/holds", "/feeds"):
            kept_fresh(hosted, scene)
            page.goto(f"http://127.0.0.1:{hosted.port}{path}")
            assert page.evaluate("document.documentElement.scrollWidth") <= width, path
            small = page.evaluate(SMALL_TARGETS, SMALLEST_PX)  # at once: the next report replaces the buttons
            assert small == [], path


def test_the_temperature_is_readable_at_two_metres(chromium):
    """A digit of 1 cm on a phone 6.5 cm wide: ISO 9241-303 asks for at least 16 minutes of arc, 0.93 cm at 2 m (from
    memory).
    """
    with served(scene_at()) as hosted, phone(chromium) as page:
        page.goto(f"http://127.0.0.1:{hosted.port}/")
        size_px = float(page.locator(".figure").evaluate("each => parseFloat(getComputedStyle(each).fontSize)"))
        digit_cm = 0.7 * size_px * 6.5 / 360  # a digit's height is some 0.7 of the font's size
        assert digit_cm >= 0.93


def test_without_a_script_the_page_reads_and_acts(chromium):
    """The form leads back to the page, which shows the reply."""
    with served(pouring()) as hosted, phone(chromium, java_script_enabled=False) as page:
        paired(page, hosted)
        expect(page.locator(".figure")).to_contain_text("31.50")
        page.get_by_role("button", name="Yes", exact=True).click()
        expect(page.locator("#reply")).to_contain_text("the warmer has it")
        assert hosted.taken == [("yes", "pour")]


def test_the_keyboard_alone_reaches_and_presses_the_answer(chromium):
    """Tab until it has the focus, then Enter; the focus shows."""
    with served(pouring()) as hosted, phone(chromium) as page:
        paired(page, hosted)
        for _ in range(12):
            page.keyboard.press("Tab")
            if page.evaluate("document.activeElement.value") == "yes":
                break
        assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
        page.keyboard.press("Enter")
        expect(page.locator("#reply")).to_contain_text("the warmer has it")
        assert hosted.taken == [("yes", "pour")]


def test_a_slip_stops_nothing(chromium):
    """Stop is two steps away, each opened by hand."""
    with served(scene_at()) as hosted, phone(chromium) as page:
        paired(page, hosted)
        stop = page.get_by_role("button", name="Stop the hold: yes, heat off")
        expect(stop).to_be_hidden()
        page.get_by_text("Lock, end or stop").click()
        expect(stop).to_be_hidden()
        page.get_by_text("Stop the hold …").click()
        stop.click()
        expect(page.locator("#reply")).to_contain_text("the warmer has it")
        assert hosted.taken == [("stop", "")]


def test_a_second_tap_at_once_presses_nothing_whatever_is_there_by_then(chromium):
    """The buttons change under the finger; the reply moves none of them."""
    with served(scene_at()) as hosted, phone(chromium) as page:
        paired(page, hosted)
        pause = page.get_by_role("button", name="Pause, heat off")
        pause.scroll_into_view_if_needed()
        box = pause.bounding_box()
        at = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        page.mouse.click(*at)
        expect(page.locator("#reply")).to_contain_text("the warmer has it")
        assert pause.bounding_box() == pytest.approx(box, abs=1.0)
        hosted.latest.put(now_of(scene_at(state="pause")), time.monotonic())
        expect(page.get_by_role("button", name="Hands out, heat on")).to_be_visible()
        page.mouse.click(*at)
        page.wait_for_timeout(1500)
        assert hosted.taken == [("pause", "")]


def test_a_question_that_comes_under_the_finger_is_not_answered(chromium):
    """Its button is where another one was."""
    with served(scene_at()) as hosted, phone(chromium) as page:
        paired(page, hosted)
        page.wait_for_timeout(1000)
        kept_fresh(hosted, pouring())
        page.get_by_role("button", name="Yes", exact=True).click()
        expect(page.locator("#reply")).to_contain_text("the buttons have just changed")
        assert hosted.taken == []
        page.wait_for_timeout(1600)
        page.get_by_role("button", name="Yes", exact=True).click()
        expect(page.locator("#reply")).to_contain_text("the warmer has it")


def test_an_act_that_nobody_takes_is_said_within_a_second_and_then_withdrawn(chromium):
    """The hold's thread stands still, as while the PC looks for the board."""
    with served(scene_at()) as hosted, phone(chromium) as page:
        paired(page, hosted)
        hosted.stopped.set()
        page.get_by_role("button", name="Bowl off", exact=True).click()
        expect(page.locator("#reply")).to_have_text("No answer yet …", timeout=3000)
        expect(page.locator("#reply")).to_contain_text("It did not arrive", timeout=10_000)
        assert hosted.inbox.take() is None


def test_an_act_whose_answer_is_lost_may_have_arrived(chromium):
    """What broke the connection broke it before or after; a second "Bowl off" by hand would set it back."""
    with served(scene_at()) as hosted, phone(chromium) as page:
        paired(page, hosted)
        page.route("**/act", lambda route: (route.fetch(), route.abort())[0])
        page.get_by_role("button", name="Bowl off", exact=True).click()
        expect(page.locator("#reply")).to_contain_text("it may have arrived, or not", timeout=10_000)
        assert hosted.taken == [("bowl_off", "")]


def test_figures_that_a_slow_link_brings_late_are_struck_out(chromium, monkeypatch):
    """They come in a row, each as old as the last: the PC is heard all the time."""
    send = stream._send

    async def late(out, text):
        if "event: now" in text or "event: alive" in text:
            await asyncio.sleep(6.5)
        await send(out, text)

    monkeypatch.setattr(stream, "_send", late)
    with served(scene_at()) as hosted, phone(chromium) as page:
        paired(page, hosted)
        expect(page.locator("#link")).to_contain_text("The link to the PC is slow: what comes is", timeout=30_000)
        assert page.locator("#readings").evaluate("each => each.classList.contains('stale')")


def test_figures_follow_without_a_reload_and_opened_parts_stay_open(chromium):
    """A second report comes through the stream."""
    scene = scene_at()
    with served(scene) as hosted, phone(chromium) as page:
        paired(page, hosted)
        page.get_by_text("Lock, end or stop").click()
        hosted.latest.put(now_of(scene_at(bowl=31250, ask="pour")), time.monotonic())
        expect(page.locator(".figure")).to_contain_text("31.25")
        expect(page.get_by_role("button", name="Lock the buttons")).to_be_visible()


def test_a_lost_pc_is_said_and_a_restarted_one_is_found_again(chromium):
    """Old figures are struck out; after the restart the page asks for a code, and shows the present."""
    with SharedHold() as hold, phone(chromium) as page:
        with HoldPage([server.HERE], 0, [], hold.hold) as first:
            port = first.port
            paired(page, first)
        expect(page.locator("#link")).to_contain_text("No word from the PC", timeout=30_000)
        struck = page.locator(".figure").evaluate("each => getComputedStyle(each).textDecorationLine")
        assert "line-through" in struck
        hold.scene.status = scene_at(bowl=31125).status
        with HoldPage([server.HERE], port, [], hold.hold):
            expect(page.locator(".figure")).to_contain_text("31.12", timeout=60_000)
            expect(page.locator("main")).to_contain_text("enter the code")


def test_a_phone_that_slept_says_what_it_missed(chromium):
    """The report and the event of that time are there when it wakes."""
    scene = scene_at()
    scene.events.append((5000.0, "before it slept"))
    with served(scene) as hosted, phone(chromium) as page:
        paired(page, hosted)
        expect(page.locator("#charts")).to_contain_text("before it slept")
        page.wait_for_timeout(1500)  # the page has heard the PC
        with asleep(chromium):
            scene.events.append((5400.0, "it thickens"))
            time.sleep(7.0)
            kept_fresh(hosted, scene)
        expect(page.locator("#missed")).to_contain_text("1:30:00 it thickens")
        expect(page.locator("#missed")).not_to_contain_text("before it slept")
        expect(page.locator("#link")).to_be_hidden()


def test_back_from_another_page_only_news_is_said(chromium):
    """Whoever looked at past holds for a while learns of what happened; nothing is said where nothing did."""
    scene = scene_at()
    with served(scene) as hosted, phone(chromium) as page:
        paired(page, hosted)
        for news in ([], [(5400.0, "it thickens")]):
            page.wait_for_timeout(1500)
            page.goto(f"http://127.0.0.1:{hosted.port}/holds")
            time.sleep(6.0)
            scene.events.extend(news)
            kept_fresh(hosted, scene)
            page.goto(f"http://127.0.0.1:{hosted.port}/")
            page.wait_for_timeout(1500)
            expect(page.locator("#missed")).to_contain_text("it thickens") if news else expect(
                page.locator("#missed")).to_be_hidden()


def test_a_hold_that_another_program_took_over_has_no_whole_curves(chromium):
    scene = scene_at()
    with served(scene) as hosted, phone(chromium) as page:
        paired(page, hosted)
        page.wait_for_timeout(1500)
        page.goto(f"http://127.0.0.1:{hosted.port}/holds")
        time.sleep(6.0)
        scene.evening = scene.evening[60:]
        kept_fresh(hosted, scene)
        page.goto(f"http://127.0.0.1:{hosted.port}/")
        expect(page.locator("#missed")).to_contain_text("curves and events lack it")


def test_the_title_follows_the_next_bowl(chromium):
    """With several tabs open it is what one reads."""
    scene = scene_at()
    with served(scene) as hosted, phone(chromium) as page:
        page.goto(f"http://127.0.0.1:{hosted.port}/")
        expect(page).to_have_title("dark")
        scene.chocolate = "milk"
        kept_fresh(hosted, scene)
        expect(page).to_have_title("milk")


def test_what_the_board_last_reported_is_struck_out_while_it_is_silent(chromium):
    """The PC is heard, so only the board's silence can say it; a new report ends it."""
    scene = scene_at()
    with served(scene) as hosted, phone(chromium) as page:
        hosted.latest.put(now_of(scene), time.monotonic() - 30.0)
        page.goto(f"http://127.0.0.1:{hosted.port}/")
        expect(page.locator(".lost")).to_contain_text("No word from the board")
        page.wait_for_timeout(2500)  # the script has looked twice
        struck = "getComputedStyle(document.querySelector('.figure')).textDecorationLine"  # at once: it is drawn again
        assert "line-through" in page.evaluate(struck)
        kept_fresh(hosted, scene)
        expect(page.locator(".lost")).to_have_count(0)
        assert "line-through" not in page.evaluate(struck)


def test_the_age_of_old_figures_goes_on_once_the_pc_is_not_heard_either(chromium):
    """A hold that nobody watches any more: its page may be open for longer than its program."""
    lost = structs.replace(now_of(scene_at(state="trip"), over=True), unwatched="unanswered")
    with phone(chromium) as page:
        with served(scene_at()) as hosted:
            page.goto(f"http://127.0.0.1:{hosted.port}/")
            hosted.latest.put(lost, time.monotonic() - 80.0)
            expect(page.locator(".age")).to_contain_text(" s")
        expect(page.locator(".age")).to_contain_text("2 min", timeout=60_000)


def test_an_armed_phone_sounds_while_the_warmer_calls_and_says_when_it_is_not_armed(chromium):
    """Each call has three tones; they stop once somebody is coming."""
    calling, coming = pouring(), now_of(pouring(), coming=True)
    with served(scene_at()) as hosted, phone(chromium) as page:
        page.add_init_script(COUNTS_TONES)
        page.goto(f"http://127.0.0.1:{hosted.port}/")
        expect(page.locator("#armed")).to_contain_text("silent until you tap")
        kept_fresh(hosted, calling)
        expect(page).to_have_title(re.compile(r"^\(!\)"))
        assert page.evaluate("tones") == 0  # no browser lets it sound before a tap
        page.get_by_role("button", name="Let this phone sound an alarm").click()
        expect(page.locator("#armed")).to_contain_text("This phone sounds")
        for _ in range(100):
            if (tones := page.evaluate("tones")) == 1 + 3:  # one to hear that it does
                break
            kept_fresh(hosted, calling)
            page.wait_for_timeout(100)
        assert tones == 1 + 3
        hosted.latest.put(coming, time.monotonic())
        expect(page).not_to_have_title(re.compile(r"^\(!\)"))


COUNTS_TONES = """tones = 0;
    const made = AudioContext.prototype.createOscillator;
    AudioContext.prototype.createOscillator = function () { tones += 1; return made.call(this); };"""


def armed(page, hosted, path="/"):
    """A phone whose person has tapped once."""
    page.add_init_script(COUNTS_TONES)
    page.goto(f"http://127.0.0.1:{hosted.port}{path}")
    page.get_by_role("button", name="Let this phone sound an alarm").click()
    expect(page.locator("#armed")).to_contain_text("This phone sounds")


def until_it_sounds(page, put):
    """More tones than there were."""
    before = page.evaluate("tones")
    for _ in range(200):
        put()
        if page.evaluate("tones") > before:
            return
        page.wait_for_timeout(100)
    raise AssertionError(page.content())


@pytest.mark.parametrize("path", ["/tonight", "/holds", "/feeds"])
def test_a_phone_armed_on_its_hold_sounds_on_the_other_pages_as_well(chromium, path):
    """Chromium carries the tap over to the next page; each page that could not sound would say so."""
    with served(scene_at()) as hosted, phone(chromium) as page:
        armed(page, hosted)
        page.goto(f"http://127.0.0.1:{hosted.port}{path}")
        expect(page.locator("#armed")).to_contain_text("This phone")
        if page.get_by_role("button", name="Let this phone sound an alarm").is_visible():
            page.get_by_role("button", name="Let this phone sound an alarm").click()
        expect(page.locator("#calls")).to_be_hidden()
        until_it_sounds(page, lambda: kept_fresh(hosted, pouring()))
        expect(page.locator("#calls")).to_contain_text("A warmer needs somebody.")


def test_an_armed_phone_stays_where_it_sounds_when_the_program_was_restarted(chromium):
    """It says so instead of loading itself again into a page that is silent."""
    with SharedHold() as hold, phone(chromium) as page:
        with HoldPage([server.HERE], 0, [], hold.hold) as first:
            port = first.port
            armed(page, first)
            page.evaluate("window.stayed = true")
        expect(page.locator("#link")).to_contain_text("No word from the PC", timeout=30_000)
        with HoldPage([server.HERE], port, [], hold.hold):
            expect(page.locator("#again")).to_contain_text("was restarted", timeout=60_000)
            assert page.evaluate("window.stayed")
            page.get_by_role("link", name="Load this page again").click()
            expect(page.locator(".figure")).to_contain_text("31.50")


@pytest.mark.parametrize("path", ["/tonight", "/"])
@pytest.mark.parametrize("sounds", [True, False])
def test_a_phone_whose_session_ended_learns_it(chromium, sounds, path):
    """As after a restart of the program on the PC, of which it would say for ever that it is not heard."""
    with served(scene_at()) as hosted, phone(chromium) as page:
        paired(page, hosted)
        if sounds:
            armed(page, hosted, path)
        else:
            page.goto(f"http://127.0.0.1:{hosted.port}{path}")
        page.wait_for_timeout(1500)
        hosted._access.open_to_look = False
        page.context.clear_cookies()
        hosted._server._app.streams.closing = True  # as if the program ended
        page.wait_for_timeout(1500)
        hosted._server._app.streams.closing = False
        if sounds:
            expect(page.locator("#calls, #link")).to_contain_text("was restarted", timeout=30_000)
        else:
            page.wait_for_url("**/in", timeout=30_000)


def test_a_second_warmer_moves_no_armed_phone_from_its_own(chromium):
    """The page knows its warmer by name, also where its address does not."""
    with SharedHold("pot") as first, phone(chromium) as page, HoldPage([server.HERE], 0, [], first.hold) as hosted:
        armed(page, hosted)
        with SharedHold.beside("mat", bowl=30000):
            page.wait_for_timeout(3000)
            page.evaluate("listen()")  # as after a lost link
            first.scene.status = scene_at(bowl=31250).status
            expect(page.locator(".figure")).to_contain_text("31.25", timeout=30_000)


def test_two_buttons_at_two_places_are_two_acts_and_a_bounce_is_said(chromium):
    """Within the time of a bounce: only the same place counts."""
    with served(scene_at()) as hosted, phone(chromium) as page:
        paired(page, hosted)
        page.wait_for_timeout(1000)
        page.evaluate("""() => { for (const name of ["thickens", "pause"])
            document.querySelector(`#buttons button[value=${name}]`).dispatchEvent(new MouseEvent("click",
                { bubbles: true, cancelable: true, clientX: name === "pause" ? 300 : 20, clientY: 300 })); }""")
        expect(page.locator("#reply")).to_contain_text("the warmer has it")
        page.wait_for_timeout(500)
        assert hosted.taken == [("thickens", ""), ("pause", "")]
        page.evaluate("""() => document.querySelector("#buttons button[value=bowl_off]").dispatchEvent(
            new MouseEvent("click", { bubbles: true, cancelable: true, clientX: 300, clientY: 300 }))""")
        expect(page.locator("#reply")).to_contain_text(re.compile("right after another tap|the warmer has it"))


def test_the_keyboard_keeps_its_place_after_an_act(chromium):
    """The next Tab goes on from the button."""
    with served(scene_at()) as hosted, phone(chromium) as page:
        paired(page, hosted)
        page.wait_for_timeout(1000)
        page.locator("#buttons button[value=test]").focus()
        page.keyboard.press("Enter")
        expect(page.locator("#reply")).to_contain_text("the warmer has it")
        page.wait_for_function("document.activeElement.value === 'test'")


def test_a_clock_that_is_set_makes_no_silence_and_ends_no_alarm(chromium):
    """Ten minutes on, an hour back, while the PC is heard each second."""
    with served(scene_at()) as hosted, phone(chromium) as page:
        armed(page, hosted)
        for set_ms in (600_000, -3_600_000):
            page.evaluate(f"(real => {{ Date.now = () => real() + {set_ms}; }})(Date.now.bind(Date))")
            for _ in range(15):
                kept_fresh(hosted, scene_at())
                page.wait_for_timeout(200)
        assert page.evaluate("tones") == 1  # to hear that it does
        expect(page.locator("#missed")).to_be_hidden()
        until_it_sounds(page, lambda: kept_fresh(hosted, pouring()))


def test_without_a_script_stop_is_reached_on_a_page_of_its_own(chromium):
    """It stays as it is between the taps, however long they take."""
    with served(scene_at()) as hosted, phone(chromium, java_script_enabled=False) as page:
        paired(page, hosted)
        expect(page.locator("#buttons .finals")).to_be_hidden()
        page.get_by_role("link", name="Lock, end or stop").click()
        page.get_by_text("Stop the hold …").click()
        page.wait_for_timeout(6000)
        page.get_by_role("button", name="Stop the hold: yes, heat off").click()
        expect(page.locator("#reply")).to_contain_text("the warmer has it")
        assert hosted.taken == [("stop", "")]


def test_a_timer_of_tonight_is_cleared_by_two_taps_alone(chromium, tmp_path, monkeypatch):
    """A knuckle that bounces starts it once; a slip loses no minutes."""
    monkeypatch.setenv("BAIN_HOME", str(tmp_path))
    assert cli.main(["plan", "dark", "--total", "1.8kg", "--tonight"]) == 0
    with served(scene_at()) as hosted, phone(chromium) as page:
        page.goto(f"http://127.0.0.1:{hosted.port}/tonight")
        timer = page.locator(".timer").first
        timer.dblclick()
        expect(timer).to_contain_text("of about")
        page.wait_for_timeout(1200)
        timer.click()
        expect(timer).to_have_text("Tap again to clear the timer")
        page.wait_for_timeout(1200)
        timer.click()
        expect(timer).to_have_text("Start the timer")


def test_on_paper_there_are_no_buttons(chromium):
    """Figures and charts alone."""
    with served(pouring()) as hosted, phone(chromium) as page:
        paired(page, hosted)
        page.emulate_media(media="print")
        expect(page.get_by_role("button", name="Yes", exact=True)).to_be_hidden()
        expect(page.locator(".figure")).to_be_visible()


def test_names_of_boards_and_files_act_on_nothing(chromium):
    """Markup, handlers and a script in every text of a scene."""
    evil, scene = "<img src=x onerror=alert(1)><script>alert(2)</script>\"'>&\x1b[2J", pouring()
    scene.chocolate = scene.warmer = scene.prompt = scene.trouble = scene.concern = evil
    scene.events.append((5.0, evil))
    with served(scene) as hosted, phone(chromium) as page:
        dialogs = []
        page.on("dialog", lambda dialog: (dialogs.append(dialog.message), dialog.dismiss()))
        paired(page, hosted)
        page.wait_for_timeout(500)
        assert dialogs == []
        assert page.locator("main img").count() == 0


def test_a_first_load_in_a_night_of_twelve_hours_is_small(chromium):
    """All that the browser fetched, as sent."""
    scene = scene_at()
    for t_s in range(5460, 12 * 3600, 60):
        scene.see(t_s, scene.status)
    sizes = []
    with served(scene) as hosted, phone(chromium) as page:
        page.on("response", lambda answer: sizes.append(int(answer.headers.get("content-length", 0))))
        page.goto(f"http://127.0.0.1:{hosted.port}/")
        expect(page.locator(".chart")).to_have_count(2)
        assert sum(sizes) > 10_000
        assert sum(sizes) + len(page.content()) < MOST_FIRST_LOAD_BYTES


def test_a_phone_that_shows_the_end_of_a_hold_follows_the_next_one(chromium):
    """It stands against its jar from one hold to the next."""
    with Page([server.HERE], 0, []) as hosted, phone(chromium) as page:
        with SharedHold("pot"):
            page.goto(f"http://127.0.0.1:{hosted.port}/?warmer=pot")
            expect(page.locator(".figure")).to_contain_text("31.50", timeout=20_000)
        expect(page.locator(".over")).to_contain_text("The hold is over", timeout=20_000)
        with SharedHold("pot", bowl=31000):
            expect(page.locator(".figure")).to_contain_text("31.00", timeout=30_000)


def test_several_warmers_are_on_one_page(chromium):
    """Each opens its own."""
    with SharedHold("pot"), Page([server.HERE], 0, []) as hosted, phone(chromium) as page:
        page.goto(f"http://127.0.0.1:{hosted.port}/")
        expect(page.locator(".figure")).to_contain_text("31.50")


def test_a_list_of_warmers_that_is_not_loaded_any_more_is_struck_out(chromium):
    """Whatever the reason: here its own requests hang, while the PC is heard on."""
    with SharedHold("pot"), SharedHold.beside("mat"), Page([server.HERE], 0, []) as hosted, phone(chromium) as page:
        page.goto(f"http://127.0.0.1:{hosted.port}/")
        expect(page.locator(".warmers .figure")).to_have_count(2)
        page.wait_for_timeout(6000)
        expect(page.locator(".warmers.stale")).to_have_count(0)
        page.route(re.compile("/$"), lambda _: None)
        expect(page.locator("#old")).to_contain_text(re.compile(r"This list is \d+ s old"), timeout=20_000)
        assert "line-through" in page.locator(".warmers .figure").first.evaluate(
            "each => getComputedStyle(each).textDecoration")
        page.unroute_all()
        expect(page.locator("#old")).to_be_hidden(timeout=10_000)


def test_the_last_figures_of_a_warmer_that_nobody_watches_stay_struck_out_and_its_alarm_can_be_ended(chromium):
    """On the page that was open when its board was given up."""
    lost = SharedHold("pot", bowl=29000)
    with Page([server.HERE], 0, []) as hosted, phone(chromium) as page:
        with lost:
            paired(page, hosted)
            expect(page.locator(".figure")).to_contain_text("29.00", timeout=30_000)
            lost.scene.unwatched = "lost"
        expect(page.locator("#readings")).to_contain_text(re.compile(r"heard \d+ \w+ ago"), timeout=20_000)
        assert "line-through" in page.locator(".figure").evaluate("each => getComputedStyle(each).textDecoration")
        assert page.locator(".now").get_attribute("data-calling") == "1"
        page.wait_for_timeout(1000)  # the button has just come
        page.get_by_role("button", name="I look at the warmer: end this alarm").click()
        expect(page.locator("#reply")).to_contain_text("This alarm is over", timeout=8000)
        expect(page.locator(".now[data-calling='0']")).to_have_count(1, timeout=8000)


def test_a_phone_that_rings_for_a_pc_that_is_gone_is_quieted_by_who_comes(chromium):
    """The PC cannot be told; the phone can."""
    with phone(chromium) as page:
        with served(scene_at()) as hosted:
            page.add_init_script(COUNTS_TONES)
            paired(page, hosted)
            page.get_by_role("button", name="Let this phone sound an alarm").click()
            kept_fresh(hosted, pouring())
            expect(page.get_by_role("button", name="I am coming")).to_be_visible()
            until_it_sounds(page, lambda: kept_fresh(hosted, pouring()))
        expect(page.locator("#link")).to_contain_text("No word from the PC", timeout=30_000)
        page.get_by_role("button", name="I am coming").click()
        expect(page.locator("#reply")).to_contain_text("This phone alone is quiet", timeout=20_000)
        before = page.evaluate("tones")
        page.wait_for_timeout(20_000)
        assert page.evaluate("tones") == before
