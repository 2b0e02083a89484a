"""Who watches a hold learns that its program, or its board, gives no word any more."""

import os
import socket
import threading
import time

import pytest
from page_tools import SharedHold

from bainwright import __version__, cli
from bainwright.live import joining, watching
from bainwright.live.frame import Hello
from bainwright.live.joining import sockets
from bainwright.live.live_hold import LiveHold


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    """A user's folder of its own, with a short path: a socket's name has 100 bytes."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))


def test_a_trouble_is_told_once_when_it_begins_and_once_when_it_is_over(monkeypatch):
    """Of the hold's program after `STALE_S`, and of its board; the last scene of a program that hangs tells nothing."""
    monkeypatch.setattr(watching, "STALE_S", 5.0)
    scene, troubles = SharedHold().scene, watching.Troubles()
    silent = "no report from the board for 6 s"
    told = []
    for trouble, quiet_s in [("", 0), ("", 4.9), ("", 5), ("", 25), ("", 0), (silent, 0), (silent, 0), (silent, 30),
                             ("", 0), ("", 0)]:  # fmt: skip
        scene.trouble = trouble
        told.append(troubles.news(scene, quiet_s))
    assert [each.split(";")[0] for each in told] == [
        "", "", "no word from the program that runs the hold for 5 s", "",
        "the program that runs the hold speaks again, after some 25 s", silent, "",
        "no word from the program that runs the hold for 30 s",
        "the program that runs the hold speaks again, after some 30 s", ""]
    assert "may still heat" in told[2]


@pytest.mark.parametrize("as_what", ["", "--json", "--csv"])
def test_every_watcher_is_told_that_the_program_of_the_hold_gives_no_word_and_that_it_speaks_again(
        monkeypatch, capsys, as_what):  # fmt: skip
    """Lines on stderr, where the last report would stand as if it were now; before its first frame too."""
    monkeypatch.setattr(watching, "STALE_S", 0.2)
    hold, scene, said = LiveHold(), SharedHold().scene, ""
    hold.share(Hello(__version__, os.getpid(), "", "pot", "dark"))
    thread = threading.Thread(target=lambda: cli.main(["watch", *([as_what] if as_what else [])]), daemon=True)
    thread.start()
    for awaited in ("no word from the program", "speaks again", "no word from the program"):
        for _ in range(500):
            if awaited in said:
                break
            if awaited == "speaks again":
                hold.put(scene, time.monotonic(), time.monotonic())
            time.sleep(0.02)
            said += capsys.readouterr().err
        assert awaited in said
        said = ""
    hold.__exit__(None, None, None)
    thread.join()


def test_a_hold_whose_program_stands_still_is_not_called_none(capsys, monkeypatch):
    """Stopped by Ctrl-Z it listens and never answers: "no hold runs on this PC" would send the cook to start one."""
    monkeypatch.setattr(joining, "ANSWERS_S", 0.05)
    with SharedHold():
        path = sockets()[0]
    with socket.socket(socket.AF_UNIX) as still:
        still.bind(str(path))
        still.listen()
        assert cli.main(["watch"]) == 3
    assert "which may heat" in capsys.readouterr().err
    assert cli.main(["watch"]) == 3  # another program has that number now
    assert "no hold runs" in capsys.readouterr().err
