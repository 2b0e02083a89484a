"""A page served over real sockets of this machine, and a phone that asks it."""

import http.client
import json
import os
import re
import threading
import time
from contextlib import contextmanager
from html.parser import HTMLParser
from pathlib import Path
from tempfile import TemporaryDirectory
from unittest import mock

from fake_board import status_line

from bainwright import __version__
from bainwright.display.scene import Scene
from bainwright.evening.acts import Reply
from bainwright.files.score import Window
from bainwright.link.messages import decode
from bainwright.live.frame import Hello
from bainwright.live.live_hold import LiveHold
from bainwright.live.now import now_of
from bainwright.page import server
from bainwright.page.hosting import HoldPage

ROOT_CODE = re.compile(r"/in/([A-Z0-9]{8})")


def scene_at(**status):
    """A hold of an hour and a half that has just reported."""
    scene = Scene("dark", "the warmer 'pot'", Window(31.0, 31.5, 32.0, 34.5), True, 4 * 3600.0, 150.0)
    for t_s in range(0, 5401, 60):
        scene.see(t_s, decode(status_line(t_s + 1, 1000 * t_s, **status).strip()))
    return scene


class Phone:
    """A browser as far as these tests need one: it sends what a browser sends, and stores its cookie."""

    def __init__(self, page):
        self.host = f"127.0.0.1:{page.port}"
        self.cookie = self.token = ""

    def ask(self, method, path, body=None, **headers):
        connection = http.client.HTTPConnection(self.host, timeout=60)
        sent = {"Host": self.host, "Cookie": self.cookie, **headers}
        written = {name.replace("_", "-"): text for name, text in sent.items() if text is not None}
        connection.request(method, path, body, written)
        answer = connection.getresponse()
        text = answer.read().decode()
        connection.close()
        return answer, text

    def post(self, path, body, **headers):
        return self.ask("POST", path, body, **{"Origin": f"http://{self.host}"} | headers)

    def pair(self, code):
        answer, _ = self.post("/in", f"code={code}")
        self.cookie = (answer.getheader("set-cookie") or "").partition(";")[0]
        _, text = self.ask("GET", "/")
        found = re.search(r'name="token" value="([^"]+)"', text)
        self.token = found[1] if found else ""
        return answer

    def act(self, name, seen="", **headers):
        answer, text = self.post("/act", f"token={self.token}&act={name}&seen={seen}", Accept="application/json",
                                 **headers)
        return answer.status, json.loads(text)


@contextmanager
def served(scene=None):
    """A page on a free port; the acts it takes are answered by a thread that stands for the hold."""
    hold = LiveHold()
    page = HoldPage([server.HERE], 0, [], hold)
    page.hold, page.latest, page.inbox = hold, hold.latest, hold.inbox
    page.taken, page.stopped = [], threading.Event()

    def hold():
        while not page.stopped.wait(0.01):
            if (wish := page.inbox.take()) is not None:
                page.taken.append((wish.act.name, wish.seen))
                wish.reply.set_result(Reply(True, f"{wish.act.words}: the warmer has it."))

    thread = threading.Thread(target=hold, daemon=True)
    with TemporaryDirectory() as home, mock.patch("bainwright.page.refused.home", return_value=Path(home)), page:
        page.home = Path(home)
        if scene is not None:
            page.latest.put(now_of(scene), time.monotonic())
        thread.start()
        try:
            yield page
        finally:
            page.stopped.set()
            thread.join()


class SharedHold:
    """A hold that is shared; a thread stands for it, and does what it is asked."""

    def __init__(self, warmer="pot", *, board="0011223344556677", **status):
        self.scene, self.hold, self.done = scene_at(**status), LiveHold(), []
        self.hold.share(Hello(__version__, os.getpid(), "/dev/ttyACM0", warmer, "dark", board))
        self._ends, self.answers = threading.Event(), True
        self._thread = threading.Thread(target=self._run, daemon=True)

    @classmethod
    def beside(cls, warmer="pot", process=1, **status):
        """As if another process ran it, for the tests that need two."""
        with mock.patch("bainwright.live.sharing.os.getpid", return_value=process):
            return cls(warmer, **status)

    def __enter__(self):
        self._thread.start()
        return self

    def __exit__(self, *details):
        self._ends.set()
        self._thread.join()
        self.hold.put(self.scene, 0.0, 0.0, over=True)
        self.hold.__exit__(*details)

    def _run(self):
        while not self._ends.wait(0.02):
            self.hold.put(self.scene, 0.0, 0.0)
            if self.answers and (wish := self.hold.inbox.take()) is not None:
                self.done.append((wish.act.name, wish.seen))
                wish.reply.set_result(Reply(True, "the warmer has it"))


def code_of(page):
    return ROOT_CODE.search("\n".join(page.welcome()))[1]


VOID = {"meta", "link", "input", "rect", "path"}  # without an end tag; the last two only as drawn here


class Outline(HTMLParser):
    """Checks that elements nest, and notes what a page names."""

    def __init__(self, text):
        super().__init__()
        self.open, self.attributes, self.words = [], [], []
        self.feed(text)
        assert self.open == []

    def handle_starttag(self, tag, attributes):
        self.attributes += [(tag, name, value) for name, value in attributes]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attributes):
        self.attributes += [(tag, name, value) for name, value in attributes]

    def handle_endtag(self, tag):
        if tag not in VOID:
            assert self.open.pop() == tag

    def handle_data(self, data):
        self.words.append(data)


def until(client, wanted):
    """Read until this has come."""
    client.settimeout(60)
    got = b""
    while wanted not in got:
        piece = client.recv(65536)
        assert piece, got
        got += piece
    return got
