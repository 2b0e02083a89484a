"""The page of a hold over real sockets: what it shows, who may act, and where it is served."""

import contextlib
import io
import itertools
import re
import socket
import threading
import time
from pathlib import Path

import pytest
from fake_board import status_line
from page_tools import Outline, Phone, code_of, scene_at, served, until

from bainwright.core.errors import UseError
from bainwright.display.view import PlainLines
from bainwright.evening.options import HoldRequest, resolve
from bainwright.evening.runner import Runner
from bainwright.link.messages import decode
from bainwright.live.live_hold import LiveHold
from bainwright.live.live_view import LEAST_S, LiveView
from bainwright.live.now import now_of
from bainwright.page import act_routes, server
from bainwright.page.chart import MOST_POINTS, chart, thinned
from bainwright.page.hosting import HoldPage, addresses
from bainwright.virtual.opening import open_board

# -- looking -----------------------------------------------------------------------------------------------------------


def test_the_page_reads_without_a_script(page):
    """Temperature, place, window, what is asked; nothing comes from elsewhere, no style or script is inline."""
    answer, text = Phone(page).ask("GET", "/")
    outline = Outline(text)
    words = " ".join(" ".join(outline.words).split())
    assert answer.status == 200
    for expected in ("31.50 °C", "in its window", "window 31.0 to 32.0 °C", "VIRTUAL", "1:30:00"):
        assert expected in words
    links = [value for _, name, value in outline.attributes if name in ("src", "href", "action")]
    assert all(link.startswith("/") or link == "data:," for link in links)
    assert not [name for _, name, _ in outline.attributes if name == "style" or name.startswith("on")]


def test_who_is_not_paired_sees_no_buttons(page, phone):
    """On this PC anyone may look; acts need the code."""
    assert 'form="acts"' not in Phone(page).ask("GET", "/")[1]
    assert 'value="yes"' in phone.ask("GET", "/")[1]


def test_old_figures_are_never_shown_as_present():
    """Six seconds after the last report the page says so, and marks the figures."""
    with served() as page:
        page.latest.put(now_of(scene_at()), time.monotonic() - 6.0)
        _, text = Phone(page).ask("GET", "/")
    assert "No word from the board for 6 s" in text
    assert 'class="now stale"' in text


def test_a_trouble_is_shown_as_it_was_said():
    """It may name a file, and a name in small letters is another file."""
    scene = scene_at()
    scene.trouble = "/home/Anna/Hold.csv is full; nothing is recorded"
    with served(scene) as page:
        assert "/home/Anna/Hold.csv is full; nothing is recorded." in Phone(page).ask("GET", "/")[1]


def test_text_of_a_board_or_a_file_is_inert(page):
    """Markup is escaped, control characters are written out."""
    scene = scene_at()
    scene.chocolate, scene.warmer = "<script>alert(1)</script>", 'x" onload="y\x1b[2J'
    scene.events.append((1.0, "<img src=x onerror=z>\u202e"))
    scene.prompt = "<b>now</b>"
    with served(scene) as other:
        _, text = Phone(other).ask("GET", "/")
    tags = {tag for tag, _, _ in Outline(text).attributes}
    assert "<script>alert" not in text
    assert "<img" not in text
    assert "<b>now" not in text
    assert "\x1b" not in text
    assert "\u202e" not in text
    assert "img" not in tags


def test_a_stream_sends_the_moment_and_then_what_changed(page):
    """Server-sent events as the HTML standard has them: `event:` and `data:` lines, an empty line after each."""
    scene = scene_at()
    with served(scene) as other, socket.create_connection(("127.0.0.1", other.port)) as client:
        client.sendall(f"GET /live HTTP/1.1\r\nHost: 127.0.0.1:{other.port}\r\n\r\n".encode())
        first = until(client, b"charts")
        assert b"text/event-stream" in first
        assert b"event: now\n" in first
        assert b"event: server\n" in first  # so that a page hears of a restart
        scene.see(5401, decode(status_line(5402, 5401000, bowl=31250).strip()))
        other.latest.put(now_of(scene), time.monotonic())
        second = until(client, b"31.25")
        assert b"buttons" not in second  # they did not change
    assert other.latest.get().number == 2


# -- pairing and acting ------------------------------------------------------------------------------------------------


def test_a_code_pairs_one_phone_once_and_the_link_alone_pairs_none(page):
    """A messenger that fetches the link for its preview does not use it up."""
    code, phone, second = code_of(page), Phone(page), Phone(page)
    assert phone.ask("GET", f"/in/{code}")[0].getheader("set-cookie") is None
    paired = phone.pair(code)
    cookie = paired.getheader("set-cookie").lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert phone.token
    assert second.pair(code).status == 403
    assert not second.token
    assert "Press p at the PC for a new one." in second.post("/in", f"code={code}")[1]


def test_a_browser_that_stores_no_cookie_learns_it(page):
    """It would only be asked for a code again, and each code pairs once."""
    phone = Phone(page)
    assert phone.pair(code_of(page)).getheader("location") == "/paired"
    assert phone.ask("GET", "/paired")[0].getheader("location") == "/"
    phone.cookie = ""
    answer, text = phone.ask("GET", "/paired")
    assert answer.status == 200
    assert "did not store the cookie" in text


def test_the_pages_of_two_warmers_do_not_take_each_others_phones(page):
    """Browsers send one host's cookies to all of its ports, so the names must differ."""
    with served(scene_at()) as other:
        names = []
        for each in (page, other):
            phone = Phone(each)
            phone.pair(code_of(each))
            names.append(phone.cookie.partition("=")[0])
    assert names[0] != names[1]


def test_an_act_reaches_the_hold_with_what_the_person_saw(page, phone):
    """And the reply comes back."""
    assert phone.act("yes", seen="pour") == (200, {"done": True, "words": "Yes: the warmer has it."})
    assert page.taken[-1] == ("yes", "pour")


def test_who_says_that_they_are_coming_lets_the_alarms_rest():
    """Only a paired phone can say so; the calls of other ways rest too, and the page shows it."""
    scene = scene_at(ask="pour")
    scene.calling = True
    with served(scene) as page:
        phone = Phone(page)
        assert phone.post("/coming", "token=", Accept="application/json")[0].status == 403
        phone.pair(code_of(page))
        assert "I am coming" in phone.ask("GET", "/")[1]
        view = LiveView(PlainLines(io.StringIO()), page.hold)
        view.refresh(scene)
        late = f"token={phone.token}&at={time.monotonic() - 60.0}"
        assert phone.post("/coming", late, Accept="application/json")[0].status == 409
        assert phone.post("/coming", f"token={phone.token}", Accept="application/json")[0].status == 200
        time.sleep(LEAST_S)  # sooner, no moment is put
        view.refresh(scene)
        text = phone.ask("GET", "/")[1]
    assert "Somebody is coming" in text
    assert 'data-coming="1"' in text


def test_a_phone_sounds_for_a_board_that_has_been_silent_for_a_minute():
    """As the other ways to a person do; whoever comes can say so. At the end of a hold a silent board is no alarm."""
    with served(scene_at()) as page:
        phone = Phone(page)
        phone.pair(code_of(page))
        for age_s, over, sounds in ((55.0, False, False), (61.0, False, True), (61.0, True, False)):
            page.latest.put(now_of(scene_at(), over=over), time.monotonic() - age_s)
            text = phone.ask("GET", "/")[1]
            assert f'data-calling="{int(sounds)}"' in text
            assert ("I am coming" in text) == sounds


def test_without_a_script_the_reply_is_shown_once(page, phone):
    """The form leads back to the page, so that loading it again does not act again."""
    answer, _ = phone.post("/act", f"token={phone.token}&act=test&seen=")
    assert (answer.status, answer.getheader("location")) == (303, "/")
    assert "Test the temper: the warmer has it." in phone.ask("GET", "/")[1]
    assert "the warmer has it" not in phone.ask("GET", "/")[1]


def test_without_a_script_a_knuckle_that_taps_twice_acts_once(monkeypatch, page):
    """A page without a script sends each tap. With a script the page itself waits."""
    taken, phone = len(page.taken), Phone(page)
    phone.pair(code_of(page))

    def tap():
        phone.post("/act", f"token={phone.token}&act=thickens&seen=")
        return phone.ask("GET", "/")[1]

    assert "the warmer has it" in tap()
    assert "The second of two taps was not sent" in tap()
    monkeypatch.setattr(act_routes, "TWICE_S", 0.0)
    assert "the warmer has it" in tap()
    assert [name for name, _ in page.taken[taken:]] == ["thickens", "thickens"]


def test_without_a_script_what_ends_the_hold_is_on_a_page_that_does_not_load_itself_again(page, phone):
    """Between its two taps nothing closes; the page of the hold itself loads again every five seconds."""
    text = phone.ask("GET", "/")[1]
    assert re.search(r"<noscript><meta http-equiv=.refresh.", text)
    link = re.search(r'<noscript><a[^>]*href="(/end[^"]*)"', text)[1]
    answer, text = phone.ask("GET", link)
    assert answer.getheader("refresh") is None
    assert "refresh" not in text
    Outline(text)
    fields = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', text))
    assert {"token", "warmer", "hold", "drawn"} == set(fields)
    assert 'value="stop"' in text
    taken = len(page.taken)
    sent = "&".join(f"{name}={value}" for name, value in [*fields.items(), ("act", "stop")])
    assert phone.post("/act", sent)[0].getheader("location").startswith("/?warmer=")
    assert [name for name, _ in page.taken[taken:]] == ["stop"]


def test_who_is_not_paired_does_not_see_what_ends_the_hold(page):
    """They learn how to pair; a hold that is not there leads back."""
    assert Phone(page).ask("GET", "/end")[0].getheader("location") == "/in"
    assert Phone(page).ask("GET", "/end?warmer=tub")[0].getheader("location") == "/"


def test_an_act_that_the_hold_does_not_take_is_withdrawn_and_the_phone_learns_it(monkeypatch):
    """The PC looks for the board, or draws: the act must not arrive minutes later."""
    monkeypatch.setattr(act_routes, "ARRIVES_S", 0.1)
    with served(scene_at()) as page:
        page.stopped.set()  # the hold takes nothing
        phone = Phone(page)
        phone.pair(code_of(page))
        status, reply = phone.act("bowl_off")
        assert (status, reply["done"]) == (409, False)
        assert "did not arrive" in reply["words"]
        assert page.inbox.take() is None


def test_an_act_that_was_long_on_its_way_is_not_sent(page, phone):
    """What is sent into a lost link arrives once it is back; by then the phone has said that it did not arrive."""
    taken, now_s = len(page.taken), time.monotonic()
    for at in (now_s - 60.0, "nan", "no time"):
        status, reply = phone.act("yes", seen=f"pour&at={at}")
        assert (status, reply["done"]) == (409, False)
        assert "too late" in reply["words"]
    assert len(page.taken) == taken
    assert phone.act("yes", seen=f"pour&at={now_s - 0.5}")[0] == 200
    assert len(page.taken) == taken + 1


def test_without_a_script_an_act_from_an_old_page_is_not_sent(page):
    """It lay in a lost link, or its person does not see the present."""
    taken, now_s, phone = len(page.taken), time.monotonic(), Phone(page)
    phone.pair(code_of(page))
    drawn_s = float(re.search(r'name="drawn" value="([^"]+)"', phone.ask("GET", "/")[1])[1])
    assert abs(drawn_s - now_s) < 60.0
    for drawn in (now_s - act_routes.DRAWN_S - 1.0, "nan", "never"):
        assert phone.act("yes", seen=f"pour&drawn={drawn}")[0] == 409
    assert phone.act("yes", seen=f"pour&at={now_s - 60.0}&drawn={now_s}")[0] == 409
    assert len(page.taken) == taken
    assert phone.act("yes", seen=f"pour&drawn={time.monotonic() - 1.0}")[0] == 200


def test_a_knuckle_that_bounces_takes_nothing_back(monkeypatch, page):
    """The opposite of an act comes to its button's place. Pressed again it is sent; other acts are not affected."""
    taken, phone = len(page.taken), Phone(page)
    phone.pair(code_of(page))
    assert phone.act("pause")[0] == 200
    status, reply = phone.act("resume")
    assert (status, "Press it again" in reply["words"]) == (409, True)
    assert phone.act("test")[0] == 200
    assert phone.act("bowl_off")[0] == 200
    assert phone.act("bowl_off")[0] == 200
    monkeypatch.setattr(act_routes, "BOUNCE_S", 0.0)
    assert phone.act("bowl_on")[0] == 200
    assert [name for name, _ in page.taken[taken:]] == ["pause", "test", "bowl_off", "bowl_off", "bowl_on"]


def test_a_phone_gives_its_act_up_only_when_it_can_no_longer_arrive():
    """Its wait is in the script; the longest that an act may take is in the server."""
    script = (Path(act_routes.__file__).parent / "static/live.js").read_text()
    gives_up_s = int(re.search(r"ANSWER_MS = (\d+)", script)[1]) / 1000
    assert gives_up_s > act_routes.ON_ITS_WAY_S + act_routes.ARRIVES_S


def test_a_phone_that_hammers_is_slowed_down_and_others_are_not(page):
    """Twenty acts in ten seconds."""
    one, other = Phone(page), Phone(page)
    one.pair(code_of(page))
    other.pair(code_of(page))
    statuses = [one.act("test")[0] for _ in range(25)]
    assert statuses.count(429) == 5
    assert other.act("test")[0] == 200


# -- beside a hold -----------------------------------------------------------------------------------------------------


def test_a_hold_with_a_page_that_is_read_all_the_time_leaves_the_same_log(tmp_path, monkeypatch):
    """Byte for byte, with two streams and a reader that loads the page again and again."""
    monkeypatch.chdir(tmp_path)
    logs = []
    for folder in ("without", "with"):
        request = HoldRequest("dark", virtual="pot", for_="4m", out=folder, seed=3)
        setup = resolve(request)
        hold = LiveHold()
        with HoldPage([server.HERE], 0, [], hold) as page, open_board(None, setup.simulated) as session:
            view = PlainLines(io.StringIO())
            runner = Runner(setup, session, LiveView(view, hold) if folder == "with" else view, hold.inbox)
            runner.prepare()
            with read_by(page) if folder == "with" else contextlib.nullcontext():
                runner.run()
            if folder == "with":
                assert hold.latest.get().now.over
        logs.append((tmp_path / folder / "hold.csv").read_bytes())
    assert len(logs[0]) > 10_000
    assert logs[0] == logs[1]


def test_a_server_that_breaks_is_a_line_at_the_terminal_and_the_hold_continues(monkeypatch):
    """Said once."""
    def broken(*_):
        raise OSError("no more files")

    monkeypatch.setattr("uvicorn.Server.run", broken)
    out, scene, hold = io.StringIO(), scene_at(), LiveHold()
    with HoldPage([server.HERE], 0, [], hold):
        view = LiveView(PlainLines(out), hold)
        for _ in range(100):
            view.refresh(scene)
            if "no longer served" in out.getvalue():
                break
            time.sleep(0.05)
        view.refresh(scene)
    assert out.getvalue().count("the page is no longer served (OSError('no more files'))") == 1


def test_a_way_to_watch_that_is_lost_again_is_said_again():
    """A broker that comes back and goes: each loss is one line."""
    out, hold, clock_s, trouble = io.StringIO(), LiveHold(), [0.0], [""]
    hold.troubles.append(lambda: trouble[0])
    view = LiveView(PlainLines(out), hold, lambda: clock_s[0])
    for each in ("", "lost", "lost", "", "lost", ""):
        clock_s[0] += 1.0
        trouble[0] = each
        view.refresh(scene_at())
    assert out.getvalue().count("lost") == 2


@contextlib.contextmanager
def read_by(page):
    """Readers of a page, for as long as the block lasts."""
    done = threading.Event()
    streams = [socket.create_connection(("127.0.0.1", page.port)) for _ in range(2)]
    for each in streams:
        each.sendall(f"GET /live HTTP/1.1\r\nHost: 127.0.0.1:{page.port}\r\n\r\n".encode())

    def load():
        while not done.is_set():
            assert Phone(page).ask("GET", "/")[0].status == 200

    reader = threading.Thread(target=load, daemon=True)
    reader.start()
    try:
        yield
    finally:
        done.set()
        reader.join()
        for each in streams:
            each.close()


# -- where it is served ------------------------------------------------------------------------------------------------


def test_a_taken_port_gives_another_one_and_words():
    """A second warmer's page, or another program."""
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with HoldPage([server.HERE], port, [], LiveHold()) as page:
            assert page.port != port
            assert f"port {port} is taken" in page.welcome()[0]


@pytest.mark.parametrize(
    "at", ["0.0.0.0", "8.8.8.8", "::", "[::ffff:0.0.0.0]", "2001:4860:4860::8888", "kitchen", "127.0.0.1:0",
           "127.0.0.1:x", ""],
)
def test_an_address_that_the_internet_may_reach_is_refused(at):
    """And what is no address at all."""
    with pytest.raises(UseError, match="--page-at"):
        addresses(False, at)


@pytest.mark.parametrize(("at", "found"), [
    ("127.0.0.1", ("127.0.0.1", server.PORT)), ("192.168.1.20:9000", ("192.168.1.20", 9000)),
    ("[::1]:9000", ("::1", 9000)), ("::1", ("::1", server.PORT)),
])  # fmt: skip
def test_an_address_of_ones_own_is_taken_with_its_port(at, found):
    """IPv4 and IPv6."""
    assert addresses(False, at)[:2] == ([found[0]], found[1])


def test_two_places_for_the_page_are_refused_and_a_link_that_is_none_is_said():
    """No option is dropped without a word."""
    with pytest.raises(UseError, match="--lan"):
        addresses(True, "127.0.0.1")
    with HoldPage([server.HERE], 0, [], LiveHold(), look=True) as page:
        assert any("--look" in line for line in page.welcome())


def test_an_address_that_is_not_this_pcs_is_refused_in_words():
    """TEST-NET-1 of RFC 5737 belongs to nobody."""
    with pytest.raises(UseError, match="cannot be served"):
        HoldPage(["192.0.2.1"], 8024, [], LiveHold())


# -- the chart ---------------------------------------------------------------------------------------------------------


def test_a_chart_breaks_its_line_where_a_reading_is_missing():
    """And has no line for a probe that is not there."""
    samples = [(0.0, 33.0, 31.5), (60.0, 33.0, None), (120.0, None, 31.5), (180.0, 33.0, 31.4)]
    drawn = chart(samples, (31.0, 32.0, 34.5), bath="water", label="x")
    chocolate = re.search(r'class="chocolate" d="([^"]*)"', drawn)[1]
    assert (chocolate.count("M"), chocolate.count("L")) == (2, 1)
    Outline(drawn)


def test_the_last_hour_is_drawn_whole_however_cold_it_begins():
    """A melt from a cold bowl: each reading is inside the frame, and the axis has names enough and not too many."""
    cold = [(60.0 * at, 20.0 + at / 4, 18.0 + at / 8) for at in range(30)]
    for samples in (cold, [(0.0, 120.0, -40.0), (3600.0, -40.0, 120.0)]):
        drawn = chart(samples, (45.0, 48.0, 55.0), bath="water", label="x", whole=True)
        frame = re.search(r'<svg x="\d+" y="(\d+)" width="\d+" height="(\d+)"', drawn)
        top, height = (float(each) for each in frame.groups())
        for name in ("water", "chocolate"):
            line = re.search(rf'class="{name}" d="([^"]*)"', drawn)[1]
            assert all(top - 0.1 <= float(y) <= top + height + 0.1 for y in re.findall(r"[ML][\d.]+ (-?[\d.]+)", line))
        named = [int(each) for each in re.findall(r'text-anchor="end">(-?\d+)<', drawn)]
        assert 3 <= len(named) <= 10
        assert len({later - earlier for earlier, later in itertools.pairwise(named)}) == 1


def test_a_line_that_leaves_the_chart_is_cut_at_its_frame():
    """A drawing inside a drawing cuts what is beyond it (SVG 2, user agent style sheet); the names stay inside."""
    drawn = chart([(0.0, 120.0, -40.0), (3600.0, -40.0, 120.0)], (31.0, 32.0, 34.5), bath="water", label="x")
    frame = re.search(r'<svg x="(\d+)" y="(\d+)" width="(\d+)" height="(\d+)"[^>]*>(.*?)</svg>', drawn)
    x, y, width, height = (int(each) for each in frame.groups()[:4])
    assert 0 < x < x + width < 440
    assert 0 < y < y + height < 260
    assert re.findall(r'<path class="(\w+)"', frame[5]) == ["water", "chocolate"]
    assert len(re.findall(r'<path class="(?:water|chocolate)"', drawn)) == 2
    names = [float(each) for each in re.findall(r'<text class="name[^>]*y="([^"]*)"', drawn)]
    assert len(names) == 3
    assert all(0 < each < 260 for each in names)


def test_a_night_is_thinned_and_its_last_sample_stays():
    """Forty-eight hours at a minute."""
    samples = [(60.0 * at, 33.0, 31.5) for at in range(2880)]
    few = thinned(samples)
    assert len(few) <= MOST_POINTS
    assert few[-1] == samples[-1]
