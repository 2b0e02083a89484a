"""Past holds on the page: the list, one of them, several side by side, downloads; no address leads to another file."""

import contextlib
import html
import json
import os
import re
import socket
import threading
import time
from pathlib import Path
from xml.etree import ElementTree

import pytest
from page_tools import Outline, Phone
from test_hold import done, held, quiet

from bainwright.archive.listing import list_holds
from bainwright.page import past_hold_routes, server
from bainwright.page.hosting import Page
from bainwright.page.past_holds import FILES, key_of


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    """The pages over two holds of half a minute, and a phone of this PC."""
    with contextlib.chdir(tmp_path_factory.mktemp("holds")):
        for day in (1, 2):
            held([*quiet(30), done()])
            facts = Path(f"holds/dark-{day}/hold.json")  # two that began in one second would count as copies of one
            facts.write_text(json.dumps({**json.loads(facts.read_text()), "started": f"2026-03-0{day}T20:00:00+00:00"}))
        with Page([server.HERE], 0, []) as page:
            yield Phone(page)


def keys():
    return [key_of(entry) for entry in list_holds()]


def test_the_list_leads_to_each_hold_and_its_page_says_what_the_review_says(page):
    """The verdict, the sections, the picture, the files."""
    answer, text = page.ask("GET", "/holds")
    assert answer.status == 200
    links = [value for _, name, value in Outline(text.replace("<br>", "")).attributes if name == "href"]
    assert [f"/holds/{key}" for key in keys()] == [link for link in links if link.startswith("/holds/")]
    _, night = page.ask("GET", f"/holds/{keys()[0]}")
    assert 'class="chocolate" d="M' in night
    for expected in ("Verdict", "Temperatures", "hold.csv", "hold.parquet", list_holds()[0].name):
        assert expected in night


def test_every_file_is_downloaded_as_it_is_on_the_disk(page):
    """Byte for byte; a picture shows, the others are saved under the hold's name."""
    entry = list_holds()[0]
    for name in ("temper.json", "stock.json"):  # of who noted a test, and weighed what was left
        (Path(entry.folder) / name).write_text("{}")
    for name in FILES:
        connection_answer, _ = page.ask("HEAD", f"/holds/{key_of(entry)}/{name}")
        assert connection_answer.status == 200, name
    answer, text = page.ask("GET", f"/holds/{key_of(entry)}/hold.json")
    assert json.loads(text)["profile"]["name"] == "dark"
    assert answer.getheader("content-disposition") == f'attachment; filename="{entry.name}.hold.json"'
    svg, drawn = page.ask("GET", f"/holds/{key_of(entry)}/hold.svg")
    assert svg.getheader("content-security-policy").startswith("default-src 'none'")
    assert drawn == (Path(entry.folder) / "hold.svg").read_text()


def told_when_one_that_reads_nothing_is_lost(monkeypatch):
    """By the server: at the client the end waits behind what it did not read."""
    told, lost = threading.Event(), server.Connection.connection_lost

    def connection_lost(self, failed):
        lost(self, failed)
        if self._read_due is not None:
            told.set()

    monkeypatch.setattr(server.Connection, "connection_lost", connection_lost)
    return told


def test_a_client_that_does_not_read_its_file_is_cut_off(page, monkeypatch):
    """A log of 16 MB stays on the disk meanwhile: no system's buffers take so much."""
    monkeypatch.setattr(server, "READS_S", 0.3)
    cut_off = told_when_one_that_reads_nothing_is_lost(monkeypatch)
    entry = list_holds()[0]
    path = Path(entry.folder) / "hold.csv"
    whole = path.read_bytes()
    path.write_bytes(whole + b"\n" * (16 << 20))
    host, port = page.host.split(":")
    with socket.create_connection((host, int(port))) as client:
        client.settimeout(30)
        client.sendall(f"GET /holds/{key_of(entry)}/hold.csv HTTP/1.1\r\nHost: {page.host}\r\n\r\n".encode())
        assert cut_off.wait(30)
        got = 0
        with contextlib.suppress(ConnectionResetError):
            while piece := client.recv(1 << 16):
                got += len(piece)
    path.write_bytes(whole)
    assert got < 16 << 20
    assert page.ask("GET", "/holds")[0].status == 200


def test_a_wrong_code_leads_to_the_code_that_the_pc_shows(page):
    """Without a hold the PC has no key p."""
    answer, text = page.post("/in", "code=WRNG2345")
    assert answer.status == 403
    assert "Use the latest code that the PC shows." in text


def test_holds_are_put_side_by_side_with_a_column_each(page, monkeypatch):
    """One alone is shown whole; keys that no hold has are left out; none is a sentence."""
    one, other = keys()
    _, text = page.ask("GET", f"/holds/side-by-side?of={one}&of={other}&of=0000")
    assert text.count("<th") >= 8
    for entry in list_holds():
        assert entry.name in text
    assert page.ask("GET", f"/holds/side-by-side?of={one}")[0].getheader("location") == f"/holds/{one}"
    assert "Tick two" in page.ask("GET", "/holds/side-by-side")[1]
    pictures = re.findall(r'src="(/holds/side-by-side/[^"]*)"', html.unescape(text))
    assert len(pictures) == 1  # both are of one warmer
    answer, drawn = page.ask("GET", pictures[0])
    assert answer.getheader("content-type") == "image/svg+xml"
    assert ElementTree.fromstring(drawn).tag == "{http://www.w3.org/2000/svg}svg"  # by the standard's own name
    assert page.ask("GET", pictures[0].replace("/0.svg", "/1.svg"))[0].status == 404
    monkeypatch.setattr(past_hold_routes, "MOST_COMPARED", 1)
    assert f"left out: {list_holds()[1].name}" in page.ask("GET", f"/holds/side-by-side?of={one}&of={other}")[1]


@pytest.mark.parametrize("path", [
    "/holds/{key}/..", "/holds/{key}/../../../../etc/passwd", "/holds/{key}/%2e%2e%2fhold.json", "/holds/dark-1",
    "/holds/{key}/secret.txt", "/holds/../etc", "/holds/{key}/hold.json/", "/holds/{key}/HOLD.JSON",
    "/holds/{key}x/hold.json",
])  # fmt: skip
def test_no_address_leads_to_another_file(page, path):
    """Also not to a file that lies in the hold's own folder and is none of a hold's."""
    entry = list_holds()[0]
    (Path(entry.folder) / "secret.txt").write_text("a secret")
    answer, text = page.ask("GET", path.replace("{key}", key_of(entry)))
    assert answer.status in (404, 307)
    assert "secret" not in text


def test_a_hold_whose_log_is_still_written_is_not_said_to_lack_its_end(page):
    """It runs; once nothing was written for a minute, nobody knows how it ended."""
    folder = Path(list_holds()[0].folder)
    facts = (folder / "hold.json").read_text()
    values = json.loads(facts)
    del values["ended"], values["duration_s"]
    (folder / "hold.json").write_text(json.dumps(values))
    for written_s_ago, words in ((1.0, "still runs"), (300.0, "no end")):
        moment = time.time() - written_s_ago
        os.utime(folder / "hold.csv", (moment, moment))
        for path in ("/holds", f"/holds/{keys()[0]}"):
            text = page.ask("GET", path)[1]
            assert words in text
            assert ("no recorded end" in text) is (words == "no end")
    (folder / "hold.json").write_text(facts)


def test_without_holds_the_page_says_how_to_make_one(tmp_path, monkeypatch):
    """And its first page is the list."""
    monkeypatch.chdir(tmp_path)
    with Page([server.HERE], 0, []) as page:
        phone = Phone(page)
        assert phone.ask("GET", "/")[0].getheader("location") == "/holds"
        assert "bain hold dark --virtual" in phone.ask("GET", "/holds")[1]


def test_a_damaged_hold_is_a_sentence_and_a_name_is_inert(page):
    """Its log is junk; markup in the name of a chocolate. The last test: it damages the holds of the others."""
    first, second = list_holds()
    for name in ("hold.csv", "hold.parquet"):
        (Path(first.folder) / name).write_bytes(b"\x00\xff junk")
    facts = Path(second.folder) / "hold.json"
    values = json.loads(facts.read_text())
    values["profile"]["name"] = "<script>alert(1)</script>"
    facts.write_text(json.dumps(values))
    answer, text = page.ask("GET", f"/holds/{key_of(first)}")
    assert answer.status == 200
    assert 'class="call warn"' in text
    assert "<script>alert" not in page.ask("GET", "/holds")[1]
    assert "<script>alert" not in page.ask("GET", f"/holds/{key_of(second)}")[1]
