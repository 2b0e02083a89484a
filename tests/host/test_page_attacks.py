"""What attacks on the page meet: foreign pages, guessed codes, slow and malformed requests, too many connections.

The rules for foreign pages follow OWASP's cheat sheets on cross-site request forgery and on DNS rebinding: check Host
and Origin, demand a token beside the cookie (from memory).
"""

import contextlib
import http.client
import json
import os
import re
import socket
import time
from pathlib import Path
from unittest import mock

import pytest
from page_tools import Phone, code_of, scene_at, served, until

from bainwright.page import refused as refused_module
from bainwright.page import server
from bainwright.page.access import CODE_S, GUESSES, GUESSES_OF_ALL, GUESSES_S, MOST_SESSIONS, Access
from bainwright.page.refused import Refused
from bainwright.page.stream import MOST_LOOKING


def test_every_test_that_the_list_of_attacks_names_exists():
    """host/PAGE-ATTACKS.md is read by those who want to rely on it."""
    root = Path(__file__).parents[2]
    listed = re.findall("`(test_[a-z0-9_]+)`", (root / "host" / "PAGE-ATTACKS.md").read_text(encoding="utf-8"))
    code = "".join(path.read_text(encoding="utf-8") for path in (root / "tests").glob("*/*.py"))
    assert len(listed) > 20
    assert [name for name in listed if f"def {name}(" not in code] == []


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1", "127.0.0.1:1", "[::1]:8024", "localhost.evil.example:80", ""]
)
def test_a_foreign_name_that_leads_here_is_refused(page, host):
    """DNS rebinding: the browser believes that we are the foreign page's own server."""
    assert Phone(page).ask("GET", "/", Host=host)[0].status in (400, 421)


def test_what_is_refused_is_recorded_once_a_minute_for_each_address():
    now_s, lines = [0.0], []
    refused = Refused(lambda line: lines.append(json.loads(line)), lambda: now_s[0])
    for _ in range(50):
        refused.note("192.168.1.44", 403)
        refused.note("192.168.1.44", 200)
    assert [(line["address"], line["status"], line["times"]) for line in lines] == [("192.168.1.44", 403, 1)]
    for n in range(1000):
        refused.note(f"10.0.{n // 256}.{n % 256}", 421)
    assert refused.due_in_s == 60.0
    now_s[0] = 61.0
    assert refused.due_in_s == 0.0
    refused.note("192.168.1.9", 200)  # whoever comes next
    assert refused.due_in_s is None
    assert (lines[1]["status"], lines[1]["times"]) == (403, 49)
    assert sum(line["times"] for line in lines) == 1050
    assert len(lines) < 70


@pytest.mark.parametrize(("path", "body", "paired", "status"), [
    ("/act", "act=stop&token=guess", False, 403), ("/coming", "token=guess", False, 403),
    ("/act", "act=explode", True, 400),
])
def test_a_form_without_a_script_that_is_refused_is_recorded_although_it_is_led_on(path, body, paired, status):
    with served(scene_at()) as page:
        phone = Phone(page)
        if paired:
            phone.pair(code_of(page))
            body += f"&token={phone.token}"
        answer, _ = phone.post(path, body)
        assert answer.status == 303
        record = page.home / "refused.jsonl"
        assert [json.loads(line)["status"] for line in record.read_text().splitlines()] == [status]


def test_what_was_refused_is_written_down_although_nobody_asks_again(monkeypatch):
    """Within a minute, and at the latest with the end of the server."""
    monkeypatch.setattr(refused_module, "EVERY_S", 0.05)
    with served(scene_at()) as page:
        record = page.home / "refused.jsonl"
        for _ in range(3):
            Phone(page).ask("GET", "/", Host="evil.example")
        for _ in range(500):
            if _times(record) == 3:
                break
            time.sleep(0.02)
        assert _times(record) == 3
        monkeypatch.setattr(refused_module, "EVERY_S", 3600.0)
        for _ in range(3):
            Phone(page).ask("GET", "/", Host="evil.example")
        page.__exit__(None, None, None)
        assert _times(record) == 6


def _times(record):
    return sum(json.loads(line)["times"] for line in record.read_text().splitlines())


def test_a_full_record_becomes_the_one_before(monkeypatch, tmp_path):
    """Else whoever fills it once is never recorded again."""
    monkeypatch.setattr(refused_module, "home", lambda: tmp_path)
    monkeypatch.setattr(refused_module, "MOST_BYTES", 20)
    for number in range(5):
        refused_module.append(f"line {number} of ten\n")
    assert (tmp_path / "refused.jsonl").read_text() == "line 4 of ten\n"
    assert (tmp_path / "refused.jsonl.before").read_text() == "line 2 of ten\nline 3 of ten\n"


def test_a_refusal_stands_in_the_home_of_records():
    with served(scene_at()) as page:
        assert Phone(page).ask("GET", "/", Host="evil.example")[0].status == 421
        line = json.loads((page.home / "refused.jsonl").read_text())
        assert (line["address"], line["status"], line["times"]) == ("127.0.0.1", 421, 1)
        (page.home / "refused.jsonl").unlink()
        os.mkfifo(page.home / "refused.jsonl")  # nobody reads it, and nobody waits for it
        assert Phone(page).ask("GET", "/")[0].status == 200


@pytest.mark.parametrize("headers", [
    {"Origin": "http://evil.example"}, {"Origin": "null"}, {"Origin": None}, {"Origin": "https://127.0.0.1"},
    {"Origin": None, "Sec_Fetch_Site": "cross-site"}, {"Origin": None, "Sec_Fetch_Site": "none"},
])  # fmt: skip
def test_another_page_cannot_act_with_the_phones_cookie(page, phone, headers):
    """Even with cookie and token."""
    before = len(page.taken)
    answer, _ = phone.post("/act", f"token={phone.token}&act=stop&seen=", **headers)
    assert answer.status == 403
    assert len(page.taken) == before


@pytest.mark.parametrize("headers", [
    {"Origin": "http://evil.example"}, {"Sec_Fetch_Site": "cross-site", "Sec_Fetch_Mode": "no-cors"},
    {"Sec_Fetch_Site": "same-site", "Sec_Fetch_Mode": "cors"},
])  # fmt: skip
@pytest.mark.parametrize("path", ["/", "/live", "/static/page.css"])
def test_another_page_cannot_read_ours(page, phone, path, headers):
    """Not as a script, a picture or a stream; following a link to us works."""
    assert phone.ask("GET", path, **headers)[0].status == 403


def test_a_link_from_elsewhere_opens_the_page(phone):
    """A bookmark, a mail, a QR code."""
    assert phone.ask("GET", "/", Sec_Fetch_Site="cross-site", Sec_Fetch_Mode="navigate")[0].status == 200


@pytest.mark.parametrize(
    "body", ["", "token=&act=yes", "token=wrong&act=yes", "act=yes", "%ff%fe", "a" * 300, "&" * 3000]
)
def test_an_act_without_the_token_is_refused(page, phone, body):
    """The cookie alone is not enough."""
    before = len(page.taken)
    assert phone.post("/act", body, Accept="application/json")[0].status == 403
    assert len(page.taken) == before


@pytest.mark.parametrize("act", ["start", "clear", "settings", "__class__", "", "yes%00", "confirm"])
def test_only_acts_of_the_table_exist(page, phone, act):
    """No start, no settings, no clearing of a trip."""
    before = len(page.taken)
    assert phone.act(act)[0] == 400
    assert len(page.taken) == before


@pytest.mark.parametrize(("method", "path", "status"), [
    ("PUT", "/act", 405), ("DELETE", "/", 405), ("TRACE", "/", 405), ("OPTIONS", "/act", 405), ("GET", "/act", 404),
    ("POST", "/", 404), ("POST", "/live", 404), ("GET", "/static/../app.py", 404),
    ("GET", "/static/%2e%2e/app.py", 404),
    ("GET", "/static/..%2f..%2fcli.py", 404), ("GET", "//etc/passwd", 404), ("GET", "/static/%00", 404),
    ("GET", "/in/" + "A" * 5000, 200), ("GET", "/nothing", 404),
])  # fmt: skip
def test_wrong_methods_and_paths_get_words(page, phone, method, path, status):
    """And no file of this PC."""
    answer, text = phone.ask(method, path, **({"Origin": f"http://{phone.host}"} if method == "POST" else {}))
    assert answer.status == status
    assert "Traceback" not in text
    assert "root:" not in text
    assert "import " not in text


@pytest.mark.parametrize("path", ["/live", "/api/now/stream"])
def test_a_stream_s_head_alone_holds_no_stream(page, phone, path):
    """RFC 9110, 9.3.2: a reply to HEAD has no content, so it ends at once."""
    assert phone.ask("HEAD", path)[0].status == 200
    assert page._server._app.streams.open == 0


def test_who_only_looks_leaves_streams_for_a_phone_that_acts(page, phone, monkeypatch):
    """A phone that connects again must find room."""
    paired = Phone(page)
    paired.pair(code_of(page))
    monkeypatch.setattr(page._server._app.streams, "open", MOST_LOOKING)
    assert Phone(page).ask("HEAD", "/live")[0].status == 503
    assert paired.ask("HEAD", "/live")[0].status == 200


def test_one_stranger_s_connections_leave_room_for_the_phones(page, monkeypatch):
    """As many as it likes, for as long as it likes; 127.0.0.2 stands for its address."""
    monkeypatch.setattr(server, "is_here", lambda address: address == "127.0.0.1")
    monkeypatch.setattr(server, "MOST_CONNECTIONS", 12)
    monkeypatch.setattr(server, "MOST_OF_ONE", 8)
    with contextlib.ExitStack() as opened:
        def connect():
            return opened.enter_context(
                socket.create_connection(("127.0.0.1", page.port), 10, source_address=("127.0.0.2", 0)))

        def answered(each):
            with contextlib.suppress(OSError):
                each.sendall(f"GET /in HTTP/1.1\r\nHost: 127.0.0.1:{page.port}\r\n\r\n".encode())
                return b"200" in each.recv(65536)
            return False

        strangers = [connect() for _ in range(20)]
        assert sum(answered(each) for each in strangers) == 8
        assert Phone(page).ask("GET", "/")[0].status == 200


def test_guessing_codes_ends_and_even_a_right_code_waits():
    """Ten wrong ones a minute from one address, which shuts out itself; and three hundred from all together."""
    access = Access(frozenset({"h"}), open_to_look=True)
    code, second = access.new_code(0.0), access.new_code(0.0)
    assert [access.pair("WRNGCDEF", "guest", 1.0) for _ in range(GUESSES)] == [None] * GUESSES
    assert not access.may_guess("guest", 2.0)
    assert access.pair(code, "guest", 2.0) is None
    assert access.pair(code, "cook", 2.0)
    for number in range(GUESSES_OF_ALL):
        access.pair("WRNGCDEF", f"guest {number}", 3.0)
    assert access.pair(second, "cook", 4.0) is None
    assert access.pair(second, "cook", 120.0)


def test_what_cannot_be_a_code_is_no_guess():
    """An empty form, or a code broken off."""
    access = Access(frozenset({"h"}), open_to_look=True)
    code = access.new_code(0.0)
    for typed in ["", "WRNG", "WRNGCDEFG"] * GUESSES:
        assert access.pair(typed, "cook", 1.0) is None
    assert access.pair(code, "cook", 1.0)


def test_after_too_many_wrong_codes_the_words_say_to_wait(page):
    """The right one is not called wrong, and stays in its field."""
    phone, code = Phone(page), code_of(page)
    with mock.patch.object(page._access, "may_guess", return_value=False):
        answer, text = phone.post("/in", f"code={code}")
    assert answer.status == 429
    assert int(answer.getheader("retry-after")) == GUESSES_S
    assert "Wait a minute" in text
    assert f'value="{code}"' in text
    assert phone.pair(code).status == 303


def test_whose_session_ended_reads_why_the_page_asks_for_a_code(page):
    """The program was restarted, or more phones came."""
    phone = Phone(page)
    assert "any more" not in phone.ask("GET", "/in")[1]
    phone.cookie = f"bain-{page.port}=gone"
    assert "sounds no alarm until it is paired again" in phone.ask("GET", "/in")[1]
    phone.pair(code_of(page))
    assert "any more" not in phone.ask("GET", "/in")[1]


def test_a_code_ends_and_a_session_outlives_more_phones_than_a_kitchen_has():
    """The one that was not used for longest makes room."""
    access = Access(frozenset({"h"}), open_to_look=False)
    assert access.pair(access.new_code(0.0), "cook", CODE_S) is None
    cookies = [access.pair(access.new_code(at), "cook", at) for at in range(100, 100 + MOST_SESSIONS)]
    access.session(cookies[0], 500.0)
    access.pair(access.new_code(501.0), "cook", 501.0)
    assert access.session(cookies[0], 502.0)
    assert access.session(cookies[1], 502.0) is None


def test_who_only_looks_has_no_buttons_no_token_and_cannot_act(page):
    """Even with a form of its own making; the link is good for many, and ends nobody's session that acts."""
    cook, looks = Phone(page), Phone(page)
    cook.pair(code_of(page))
    link = page._access.look_code()
    looks.pair(link)
    page._access.open_to_look = False
    for _ in range(MOST_SESSIONS + 2):
        Phone(page).pair(link)
    assert looks.ask("GET", "/")[0].status == 200  # any number of phones, until the program ends
    assert looks.cookie
    assert looks.token == ""
    assert 'form="acts"' not in looks.ask("GET", "/")[1]
    before = len(page.taken)
    for token in ("", "x"):
        looks.token = token
        assert looks.act("stop")[0] == 403
    assert looks.post("/coming", "token=", Accept="application/json")[0].status == 403
    assert len(page.taken) == before
    assert cook.act("test")[0] == 200


def test_on_a_network_nobody_looks_without_a_code():
    """The kitchen's network has guests."""
    access = Access(frozenset({"h"}), open_to_look=False)
    assert not access.may_look(None, None)
    assert not access.may_look(None, "guess")
    assert access.may_look(None, access.feed_token)


def test_bodies_that_are_too_long_or_too_slow_are_cut_off(page, phone, monkeypatch):
    """A length that lies, a body that never ends, and one that does not come."""
    assert phone.post("/act", "a" * 100_000)[0].status == 413
    monkeypatch.setattr("bainwright.page.guard.BODY_S", 0.2)
    with socket.create_connection(("127.0.0.1", page.port)) as client:
        client.sendall(f"POST /act HTTP/1.1\r\nHost: {phone.host}\r\nOrigin: http://{phone.host}\r\n"
                       "Content-Length: 50\r\n\r\ntoken".encode())
        assert b" 413 " in until(client, b"\r\n")


def test_connections_that_say_nothing_are_closed_and_the_page_still_answers(page, phone, monkeypatch):
    """Half a request's head, many times over, holds no place for long."""
    monkeypatch.setattr(server, "HEAD_S", 0.3)
    clients = [socket.create_connection(("127.0.0.1", page.port)) for _ in range(40)]
    for client in clients:
        client.sendall(b"GET / HTTP/1.1\r\nHost: ")
    assert phone.ask("GET", "/")[0].status == 200
    for client in clients:
        client.settimeout(10)
        with contextlib.suppress(ConnectionResetError):
            assert client.recv(1) == b""
        client.close()


def test_a_second_request_that_never_comes_whole_is_closed_as_well(page, phone, monkeypatch):
    monkeypatch.setattr(server, "HEAD_S", 0.3)
    for rest in (b"G", b""):
        with socket.create_connection(("127.0.0.1", page.port)) as client:
            client.settimeout(10)
            length = b"" if rest else b"Content-Length: 100\r\n"
            client.sendall(b"GET /nothing HTTP/1.1\r\nHost: " + phone.host.encode() + b"\r\n" + length + b"\r\n")
            assert b"404" in until(client, b"\r\n\r\n")
            client.sendall(rest or b"x")
            with contextlib.suppress(ConnectionResetError):
                while client.recv(4096):
                    pass


def test_more_connections_than_a_kitchen_has_are_dropped_and_room_comes_back(page, phone, monkeypatch):
    """The first ones stay."""
    monkeypatch.setattr(server, "MOST_CONNECTIONS", 5)
    clients = [socket.create_connection(("127.0.0.1", page.port)) for _ in range(12)]
    dropped = 0
    for client in clients:
        client.settimeout(0.3)
        try:
            dropped += client.recv(1) == b""
        except TimeoutError:
            pass
        except ConnectionResetError:
            dropped += 1
    for client in clients:
        client.close()
    assert dropped >= 7
    for _ in range(50):  # until the server has seen them close
        try:
            assert phone.ask("GET", "/")[0].status == 200
            break
        except (ConnectionError, http.client.RemoteDisconnected):
            time.sleep(0.05)
    else:
        raise AssertionError("no room came back")


@pytest.mark.parametrize(
    "junk", [b"\x00" * 500, b"GET / HTTP/9\r\n\r\n", b"\x16\x03\x01\x02\x00\x01", b"GET /" + b"a" * 70000]
)
def test_what_is_no_request_gets_400_or_nothing(page, phone, junk):
    """And the page still answers."""
    with socket.create_connection(("127.0.0.1", page.port)) as client:
        client.settimeout(10)
        try:
            client.sendall(junk)
            client.shutdown(socket.SHUT_WR)
            got = client.recv(200)
        except ConnectionError:
            got = b""
        assert got == b"" or b" 400 " in got
    assert phone.ask("GET", "/")[0].status == 200
