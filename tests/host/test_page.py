"""The page of a hold over real sockets: what it shows, that the hold does not notice it, and where it is served."""

import contextlib
import io
import re
import socket
import threading
import time

import pytest
from fake_board import status_line
from page_tools import Outline, Phone, scene_at, served, until

from bainwright.core.errors import UseError
from bainwright.display.view import PlainLines
from bainwright.evening.keyboard import LEAVE_QUESTION
from bainwright.evening.options import HoldRequest, resolve
from bainwright.evening.runner import GONE, Runner
from bainwright.link.messages import decode
from bainwright.live.live_hold import LiveHold
from bainwright.live.live_view import LiveView
from bainwright.live.now import now_of
from bainwright.page import server
from bainwright.page.hosting import HoldPage, addresses
from bainwright.report.report import ENDINGS
from bainwright.virtual.opening import open_board

# -- looking -----------------------------------------------------------------------------------------------------------


def test_the_page_reads_without_a_script(page):
    """Temperature, place, window, what is asked; nothing comes from elsewhere, no style or script is inline."""
    answer, text = Phone(page).ask("GET", "/")
    outline = Outline(text)
    words = " ".join(" ".join(outline.words).split())
    assert answer.status == 200
    for expected in ("31.50 °C", "in its window", "window 31.0 to 32.0 °C", "VIRTUAL", "1:30:00",
                     "this phone is silent: it sounds no alarm"):
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
    assert "No word from the board for 6 s" in "".join(Outline(text).words)
    assert 'class="now stale"' in text


@pytest.mark.parametrize("state", ["hold", "pause", "off", "trip"])
def test_no_page_says_of_a_warmer_that_is_not_heard_that_it_holds(state):
    """It may have tripped, and then somebody must pull the plug; scripts and terminals say it in the same words."""
    with served() as page:
        page.latest.put(now_of(scene_at(state=state)), time.monotonic() - 6.0)
        said = [Phone(page).ask("GET", path)[1] for path in ("/", "/static/live.js", "/static/elsewhere.js")]
    for text in [*said, GONE, LEAVE_QUESTION, ENDINGS["left running"]]:
        assert "needs no PC" in text
        assert "holds without" not in text


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


def test_the_link_for_those_who_only_look_is_shown_again_with_a_code():
    """The screen of a hold covers the first lines after seconds."""
    hold = LiveHold()
    with HoldPage([server.HERE], 0, [], hold, look=True) as page:
        page._alone = False  # as on a network
        link = re.search(r"for those who only look: (\S+)", hold.inbox.invite())[1]
        assert Phone(page).pair(link[-8:]).status == 303
        assert Phone(page).pair(link[-8:]).status == 303
        assert link in "\n".join(page.welcome())


def test_an_address_that_is_not_this_pcs_is_refused_in_words():
    """TEST-NET-1 of RFC 5737 belongs to nobody."""
    with pytest.raises(UseError, match="cannot be served"):
        HoldPage(["192.0.2.1"], 8024, [], LiveHold())
