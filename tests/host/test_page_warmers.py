"""Several warmers on one page: holds that other programs of this user run, found, shown and acted on."""

import contextlib
import html
import json
import os
import re
import socket
import time
import urllib.parse
from unittest import mock

import pytest
from fake_board import status_line
from page_tools import Outline, Phone, SharedHold, code_of, until
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from bainboard import faults
from bainwright import __version__
from bainwright.link.messages import decode
from bainwright.live import latest
from bainwright.live.frame import Hello
from bainwright.live.live_hold import LiveHold
from bainwright.live.now import now_of
from bainwright.page import holds, server
from bainwright.page.hosting import HoldPage, Page
from bainwright.words.advice import advise


@contextlib.contextmanager
def two_warmers():
    """A pot and a mat, each held by a program of its own as far as a page can see."""
    with SharedHold("pot", ask="pour") as pot, SharedHold.beside("mat 2", bowl=30000) as mat:
        yield pot, mat


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    """A user's folder of its own."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    monkeypatch.setattr(holds, "LOOK_S", 0.05)


def loaded(phone, path, *expected):
    """The page once it shows all of this."""
    for _ in range(200):
        text = phone.ask("GET", path)[1]
        if all(each in text for each in expected):
            return text
        time.sleep(0.02)
    raise AssertionError(text)


def test_the_page_shows_all_warmers_and_leads_to_each():
    """At a glance: where the chocolate is, and what is asked."""
    with two_warmers(), Page([server.HERE], 0, []) as page:
        phone = Phone(page)
        text = loaded(phone, "/", "30.00", "31.50")
        words = " ".join(Outline(text).words)
        for expected in ("pot", "mat 2", "31.50", "below its window"):
            assert expected in words
        assert re.findall(r'href="(/\?[^"]*)"', text) == ["/?warmer=mat%202", "/?warmer=pot"]
        assert "30.00" in phone.ask("GET", "/?warmer=mat%202")[1]
        assert "not here any more" in phone.ask("GET", "/?warmer=tub")[1]


def test_an_act_reaches_the_warmer_whose_page_it_was_pressed_on():
    """With its reply; without a name, or with one that is not there, it reaches none."""
    with two_warmers() as (pot, mat), Page([server.HERE], 0, []) as page:
        phone = Phone(page)
        phone.pair(code_of(page))
        text = loaded(phone, "/?warmer=mat%202", 'name="token"')
        token = re.search(r'name="token" value="([^"]+)"', text)[1]
        assert 'name="warmer" value="mat 2"' in text

        def press(warmer):
            answer, body = phone.post("/act", f"token={token}&act=test&seen=&{warmer}", Accept="application/json")
            return answer.status, json.loads(body)["words"]

        assert press("warmer=mat+2") == (200, "the warmer has it")
        assert (pot.done, mat.done) == ([], [("test", "")])
        for nobody in ("", "warmer=tub"):
            status, words = press(nobody)
            assert status == 409
            assert "did not arrive" in words
        assert phone.post("/act", f"token={token}&act=test&warmer=mat+2")[0].getheader("location") == "/?warmer=mat%202"
        assert pot.done == []


@pytest.mark.parametrize("name", ["a&b=c#d?e", "../../etc", "<script>x</script>\"'", "\x1b[2J\u202e", "", "ü 100 %"])
def test_whatever_a_warmer_is_called_its_page_opens_and_acts(name):
    """What addresses, forms and HTML reserve; the name's control characters are written out."""
    with SharedHold(name) as hold, SharedHold.beside("mat"), Page([server.HERE], 0, []) as page:
        phone = Phone(page)
        text = loaded(phone, "/", "mat", "31.50")
        assert "<script>x" not in text
        assert "\x1b" not in text
        links = [html.unescape(each) for each in re.findall(r'href="(/\?[^"]*)"', text) if "=mat" not in each]
        phone.pair(code_of(page))
        text = loaded(phone, links[0], 'name="token"')
        token, warmer = (re.search(rf'name="{each}" value="([^"]*)"', text)[1] for each in ("token", "warmer"))
        sent = urllib.parse.urlencode({"token": token, "act": "test", "seen": "", "warmer": html.unescape(warmer)})
        assert phone.post("/act", sent, Accept="application/json")[0].status == 200
        assert hold.done == [("test", "")]


def test_programs_name_the_warmer_and_the_metrics_have_all():
    """Each sample says of which warmer it is."""
    with two_warmers(), Page([server.HERE], 0, []) as page:
        phone = Phone(page)
        loaded(phone, "/", "30.00", "31.50")
        answer, text = phone.ask("GET", "/api/now")
        assert answer.status == 404
        assert sorted(json.loads(text)["warmers"]) == ["mat 2", "pot"]
        assert json.loads(phone.ask("GET", "/api/now?warmer=pot")[1])["chocolate_c"] == 31.5
        families = {each.name: each for each in text_string_to_metric_families(phone.ask("GET", "/metrics")[1])}
        degrees = {each.labels["warmer"]: each.value for each in families["bain_chocolate_celsius"].samples}
        assert degrees == {"pot": 31.5, "mat 2": 30.0}


def test_a_hold_that_starts_later_is_found_and_one_that_ended_says_so():
    """A page may be served all evening."""
    with Page([server.HERE], 0, []) as page:
        phone = Phone(page)
        assert phone.ask("GET", "/")[0].getheader("location") == "/holds"
        with SharedHold():
            loaded(phone, "/", "31.50")
        assert "The hold is over." in loaded(phone, "/", "The hold is over.")
        with SharedHold(bowl=31000):
            loaded(phone, "/", "31.00")


def test_a_hold_that_begins_before_the_last_one_on_its_warmer_has_ended_takes_its_place():
    """And its own page, under the name that it had meanwhile, goes on."""
    with contextlib.ExitStack() as holding, Page([server.HERE], 0, []) as page:
        phone = Phone(page)
        with SharedHold.beside("pot", bowl=29000):
            loaded(phone, "/", "29.00")
            holding.enter_context(SharedHold("pot", bowl=31000))
            loaded(phone, f"/?warmer=pot-{os.getpid()}", "31.00")
        text = loaded(phone, "/?warmer=pot", "31.00")
        assert "The hold is over" not in text
        loaded(phone, f"/?warmer=pot-{os.getpid()}", "31.00")
        assert json.loads(phone.ask("GET", "/api/warmers")[1]) == {"warmers": ["pot"]}


def test_of_two_warmers_of_one_name_each_stays_at_its_address_through_the_holds_on_it():
    """A phone that sounds for one must not go over to the other."""
    other = "ffff223344556677"
    with contextlib.ExitStack() as holding, Page([server.HERE], 0, []) as page:
        phone = Phone(page)
        with SharedHold.beside("pot", process=1, bowl=29000):
            loaded(phone, "/?warmer=pot", "29.00")
            holding.enter_context(SharedHold.beside("pot", process=2, board=other, bowl=31000))
            loaded(phone, "/?warmer=pot-2", "31.00")
        assert "29.00" in loaded(phone, "/?warmer=pot", "The hold is over")
        holding.enter_context(SharedHold.beside("pot", process=3, bowl=30000))
        loaded(phone, "/?warmer=pot", "30.00")
        loaded(phone, "/?warmer=pot-2", "31.00")
        assert set(json.loads(phone.ask("GET", "/api/warmers")[1])["warmers"]) == {"pot", "pot-2"}


def test_the_next_hold_of_the_same_program_has_the_same_address():
    """Its process has the same number, and so its socket the same name."""
    with Page([server.HERE], 0, []) as page:
        phone = Phone(page)
        for bowl, shown in ((29000, "29.00"), (31000, "31.00")):
            with SharedHold("pot", bowl=bowl):
                loaded(phone, "/?warmer=pot", shown)
            loaded(phone, "/?warmer=pot", "The hold is over")


def test_a_hold_that_ended_before_its_first_moment_leaves_nothing():
    """It was joined while its program ended. The address of the only hold there is shows that one again."""
    with Page([server.HERE], 0, []) as page, SharedHold("pot"):
        phone = Phone(page)
        ending = LiveHold()
        with mock.patch("bainwright.live.sharing.os.getpid", return_value=1):
            ending.share(Hello(__version__, 1, "", "mat", "dark"))
        loaded(phone, "/", "has not reported yet")
        ending.__exit__(None, None, None)
        assert 'class="figure"' in loaded(phone, "/", "31.50", 'id="readings"')


def test_holds_that_ended_make_room_for_those_that_run(monkeypatch):
    """A page that is served for a month."""
    monkeypatch.setattr(holds, "MOST_HOLDS", 2)
    with Page([server.HERE], 0, []) as page:
        phone = Phone(page)
        for number in range(4):
            with mock.patch("bainwright.live.sharing.os.getpid", return_value=number + 1):  # each a program of its own
                hold = SharedHold(f"pot {number}")
            with hold:
                loaded(phone, f"/?warmer=pot%20{number}", "31.50")


def test_a_hold_that_finds_no_room_is_not_left_out_without_a_word(monkeypatch):
    monkeypatch.setattr(holds, "MOST_HOLDS", 2)
    with two_warmers(), SharedHold.beside("plate", process=os.getppid()), Page([server.HERE], 0, []) as page:
        loaded(Phone(page), "/", "1 more hold runs on this PC than this page has room for")


def test_a_hold_whose_program_was_killed_is_said_to_be_watched_by_nobody(monkeypatch):
    """The page learns it from the socket's end; it calls, is no hold that runs, and stays until somebody answers."""
    with Page([server.HERE], 0, []) as page:
        phone = Phone(page)
        hold, calling = LiveHold(), SharedHold(ask="pour").scene
        calling.calling = True
        hold.share(Hello(__version__, 1, "", "mat", "dark"))
        hold.put(calling, time.monotonic(), time.monotonic())
        for _ in range(200):
            hold.coming.say(time.monotonic())
            hold.put(calling, time.monotonic(), time.monotonic())
            if 'data-coming="1"' in phone.ask("GET", "/?warmer=mat")[1]:
                break
            time.sleep(0.02)
        hold.__exit__(None, None, None)
        text = loaded(phone, "/?warmer=mat", "Nobody watches the warmer any more")
        assert "The program on the PC that ran this hold has ended" in text
        assert 'data-calling="1" data-coming="0"' in text  # whoever was coming knows nothing of it
        assert 'class="now stale"' in text  # its last figures are not the present
        families = {each.name: each for each in text_string_to_metric_families(phone.ask("GET", "/metrics")[1])}
        assert [each.value for each in families["bain_hold_running"].samples] == [0.0]
        assert '"calling": true' in calls_of(page)  # the other pages sound as well
        monkeypatch.setattr(holds, "STAYS_S", 0.0)
        time.sleep(5 * holds.LOOK_S)
        phone.pair(code_of(page))
        assert "end this alarm" in loaded(phone, "/?warmer=mat", "Nobody watches the warmer any more")
        form = f"token={token_in(phone.ask('GET', '/?warmer=mat')[1])}&act=coming&warmer=mat"
        answer, text = phone.post("/coming", form, Accept="application/json")
        assert (answer.status, "This alarm is over" in text) == (200, True)
        assert '"calling": false' in calls_of(page)
        loaded(phone, "/?warmer=mat", "not here any more")


def token_in(text):
    """What the page's form sends."""
    return re.search(r'name="token" value="([^"]+)"', text)[1]


@pytest.mark.parametrize(("board", "stays"), [("0011223344556677", False), ("ffff223344556677", True)])
def test_a_warmer_that_calls_leaves_the_page_only_for_the_next_hold_on_its_own_board(board, stays):
    """Another one may have the same name."""
    with Page([server.HERE], 0, []) as page:
        phone = Phone(page)
        lost = SharedHold.beside("pot", bowl=29000)
        lost.scene.unwatched = "lost"
        with lost:
            loaded(phone, "/", "29.00")
        assert '"calling": true' in calls_of(page)
        with SharedHold("pot", board=board, bowl=31000):
            text = loaded(phone, "/", "31.00")
            assert ("Nobody watches this warmer any more" in text) is stays
            assert f'"calling": {str(stays).lower()}' in calls_of(page)


def test_the_list_says_what_is_wrong_with_a_warmer():
    """A fault in force that is no trip, a warning, and trouble on the PC's side."""
    with SharedHold("pot", bowl=31000) as pot, SharedHold.beside("mat", est=1), Page([server.HERE], 0, []) as page:
        phone = Phone(page)
        loaded(phone, "/", "estimated: in its window")
        pot.scene.trouble = "the disk is full"
        loaded(phone, "/", "31.00", "The disk is full")
        pot.scene.see(5400, decode(status_line(5402, 5_400_000, bowl=31000, warn=1 << faults.SECOND_PROBE).strip()))
        loaded(phone, "/", "Warning: ")
        pot.scene.see(5401, decode(status_line(5403, 5_401_000, bowl=31000, fault=faults.OVER_STAGE).strip()))
        pot.scene.advice = advise(faults.OVER_STAGE).lines()
        loaded(phone, "/", pot.scene.advice[0], "31.00")


def calls_of(page):
    """What the pages that show no hold hear first."""
    with socket.create_connection(("127.0.0.1", page.port)) as client:
        client.sendall(f"GET /calls HTTP/1.1\r\nHost: 127.0.0.1:{page.port}\r\n\r\n".encode())
        return until(client, b"}").decode()


@pytest.mark.parametrize(("unwatched", "calls"), [
    ("lost", True), ("unanswered", True), ("restarted", True), ("resumed", True), ("not_off", True), ("left", False),
    ("", False)])  # fmt: skip
def test_a_hold_that_gave_its_board_up_calls_on_every_page_and_nobody_is_coming(unwatched, calls):
    """One that was left, or came to its end, calls nobody."""
    with SharedHold("pot") as own, HoldPage([server.HERE], 0, [], own.hold) as page:
        own.scene.unwatched = unwatched
        own.hold.coming.say(time.monotonic())
        own._ends.set()
        own._thread.join()
        own.hold.latest.put(now_of(own.scene, over=True, coming=True), time.monotonic())
        assert own.hold.latest.get().now.coming == (not unwatched)
        assert f'"calling": {str(calls).lower()}' in calls_of(page)
        next(iter(page._holds.all().values())).come()
        assert '"calling": false' in calls_of(page)
        if unwatched == "unanswered":  # the board was heard to its end
            assert "The hold is over" in Phone(page).ask("GET", "/?warmer=pot")[1]


def test_the_page_of_a_hold_that_ended_neither_follows_nor_commands_the_next_one():
    """Its stream ends, so that it loads again; its buttons are refused until it did."""
    with Page([server.HERE], 0, []) as page:
        phone = Phone(page)
        with SharedHold():
            loaded(phone, "/", "31.50")
            phone.pair(code_of(page))
            old = re.search(r'name="hold" value="([^"]+)"', loaded(phone, "/", 'name="hold"'))[1]
            stream = socket.create_connection(("127.0.0.1", page.port), 60)
            stream.sendall(f"GET /live HTTP/1.1\r\nHost: {phone.host}\r\n\r\n".encode())
            heard = until(stream, b"31.50")
        assert f"-{old}\n".encode() in heard  # what the stream is about: another one makes the page load itself
        with SharedHold(bowl=31000) as second, stream:
            new = re.search(r'name="hold" value="([^"]+)"', loaded(phone, "/", "31.00"))[1]
            until(stream, b"0\r\n\r\n")  # the end of a chunked reply (RFC 9112, 7.1)
            status, reply = phone.act("test", seen=f"&hold={old}")
            assert (status, "another one" in reply["words"]) == (409, True)
            assert phone.act("test", seen=f"&hold={new}")[0] == 200
            assert second.done == [("test", "")]


def test_a_page_beside_a_hold_shows_the_other_warmers_too():
    """Its own hold is not shown twice."""
    with SharedHold("pot") as own, HoldPage([server.HERE], 0, [], own.hold) as page:
        phone = Phone(page)
        with SharedHold.beside("mat"):
            text = loaded(phone, "/", "mat")
        assert text.count('href="/?warmer=pot"') == 1


def test_a_program_that_stands_still_is_not_taken_for_a_silent_board(monkeypatch):
    """Its cable is not at fault: no frame comes, though the socket is open."""
    monkeypatch.setattr(holds, "STALE_S", 0.3)
    monkeypatch.setattr(latest, "STALE_S", 0.3)
    with SharedHold() as other, Page([server.HERE], 0, []) as page:
        loaded(Phone(page), "/", "31.50")
        other._ends.set()  # its thread ends, and nothing is put any more
        text = loaded(Phone(page), "/", "No word from the program that runs the hold")
    assert "cable" not in text


def test_a_program_that_was_killed_leaves_figures_that_get_old():
    """They are struck out, and never shown as present."""
    hold = LiveHold()
    with HoldPage([server.HERE], 0, [], hold) as page, SharedHold() as other:
        hold.latest.put(now_of(other.scene), time.monotonic() - 100.0)
        assert "What you see is old" in loaded(Phone(page), "/?warmer=warmer", "No word from the board")
