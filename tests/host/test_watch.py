"""A hold that one program runs and others watch: what they see, how they act, and that the hold waits for none."""

import contextlib
import io
import json
import os
import socket
import threading
import time
from concurrent.futures import Future

import pytest
from fake_board import status_line
from page_tools import SharedHold

from bainwright import __version__, cli
from bainwright.alarms.rules import COMING_S, Coming
from bainwright.core.errors import LinkError, UseError
from bainwright.display.view import PlainLines
from bainwright.link.messages import decode
from bainwright.live import joining, sharing, watching
from bainwright.live.frame import ActLine, Frame, Hello, to_line
from bainwright.live.joining import Joined, join, sockets
from bainwright.live.live_hold import LiveHold


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    """A user's folder of its own, with a short path: a socket's name has 100 bytes."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))


def replied(joined, reply):
    """Read frames until the reply is there."""
    frames = joined.frames()
    while not reply.done():
        next(frames, None)
    return reply.result()


def test_a_watcher_sees_the_scene_whole_and_then_its_end():
    """Equal in every field, so that its screen is the same."""
    with SharedHold(ask="pour") as kitchen:
        joined = join()
        frames = joined.frames()
        first = next(frames)
        assert first.scene == kitchen.scene
        assert (first.over, first.coming) == (False, False)
    assert list(frames)[-1].over


def test_an_act_of_a_watcher_reaches_the_hold_with_what_it_saw_and_gets_its_reply():
    """Also that somebody is coming; an unknown act is refused."""
    with SharedHold(ask="pour") as kitchen, join() as joined:
        assert replied(joined, joined.act("yes", "pour")) == (True, "the warmer has it")
        assert kitchen.done == [("yes", "pour")]
        assert replied(joined, joined.act("coming", "")).done
        assert kitchen.hold.coming.said(time.monotonic(), since_s=0.0)
        assert not replied(joined, joined.act("start", "")).done
        assert kitchen.done == [("yes", "pour")]


def test_an_act_that_the_hold_does_not_begin_is_withdrawn(monkeypatch):
    """It never arrives later."""
    monkeypatch.setattr(sharing, "ARRIVES_S", 0.1)
    with SharedHold() as kitchen, join() as joined:
        kitchen.answers = False
        assert "did not arrive" in replied(joined, joined.act("bowl_off", "")).words
        kitchen.answers = True
        assert kitchen.hold.inbox.take() is None


def test_who_says_at_a_page_that_they_come_lets_calls_from_a_second_terminal_rest():
    """For five minutes from then, not for as long as the last frame says so: its program may hang."""
    with SharedHold() as kitchen, join() as joined:
        coming, view = Coming(), PlainLines(io.StringIO())
        there = watching.Watching(joined, view, coming)
        for comes in (False, True, True):
            there._frame = Frame(kitchen.scene, 0.0, False, comes)
            there._turn("")
            assert coming.said(time.monotonic(), since_s=0.0) == comes
        assert not coming.said(time.monotonic() + COMING_S, since_s=0.0)


@pytest.mark.parametrize("act", ["resume", "coming"])
def test_an_act_that_lay_on_the_way_for_too_long_is_refused(act):
    """The hold's program stood still, and the person was told that it may not have arrived."""
    with SharedHold() as kitchen, join() as joined:
        joined._replies[1] = reply = Future()
        joined._connection.sendall(to_line(ActLine(act, 1, time.monotonic() - 60.0)))
        assert "not done later" in replied(joined, reply).words
        assert kitchen.done == []
        assert not kitchen.hold.coming.said(time.monotonic(), since_s=0.0)


@pytest.mark.parametrize("junk", [b"GET / HTTP/1.1\r\n\r\n", b"{}\n", b"\x00" * 9000, b'{"act": 1, "number": 2}\n'])
def test_who_is_no_bain_is_dropped_and_the_others_still_watch(junk):
    """The hold does not notice."""
    with SharedHold() as kitchen, join() as joined:
        with socket.socket(socket.AF_UNIX) as stranger:
            stranger.connect(str(sockets()[0]))
            stranger.sendall(junk)
            stranger.settimeout(10)
            with contextlib.suppress(ConnectionResetError):  # dropped with bytes that were not read
                while stranger.recv(1 << 16):
                    pass
        assert next(joined.frames()).scene.chocolate == kitchen.scene.chocolate


def test_a_watcher_that_reads_nothing_is_dropped(monkeypatch):
    """And holds up neither the hold nor the other watchers."""
    monkeypatch.setattr(sharing, "SENDS_S", 0.2)
    with SharedHold() as kitchen, socket.socket(socket.AF_UNIX) as asleep, join() as joined:
        asleep.connect(str(sockets()[0]))
        kitchen.scene.advice = ["x" * 300_000]
        for _ in range(60):
            if len(kitchen.hold._sharing._watchers) == 1:
                break
            kitchen.scene.trouble += "!"
            next(joined.frames())
            kitchen.hold._sharing._watchers = [each for each in kitchen.hold._sharing._watchers if each.is_alive()]
        assert len(kitchen.hold._sharing._watchers) == 1


def test_nobody_else_on_the_pc_reaches_the_socket():
    """Its folder is closed to others."""
    with SharedHold():
        assert sockets()[0].parent.stat().st_mode & 0o077 == 0


def test_the_socket_of_a_killed_program_is_no_hold_and_is_deleted(tmp_path):
    """Process 2^22 + 1 is above what Linux gives out."""
    with SharedHold():
        folder = sockets()[0].parent
    stale = folder / "4194305.hold"
    with socket.socket(socket.AF_UNIX) as left:
        left.bind(str(stale))
    assert joining.running() == []
    assert not stale.exists()


def test_without_a_hold_and_with_several_the_words_say_what_to_do(capsys):
    """Exit status 3 and 2."""
    assert cli.main(["watch"]) == 3
    assert "no hold runs on this PC" in capsys.readouterr().err
    with SharedHold("pot"), SharedHold.beside("mat"):
        with pytest.raises(UseError, match=r"wanted one of (pot, mat|mat, pot)"):
            join()
        with join("mat") as joined:
            assert joined.hello.warmer == "mat"
        with pytest.raises(UseError, match="'tub'"):
            join("tub")


def test_a_second_bain_learns_which_hold_has_the_port_and_join_watches_it():
    """The port of another program is none of our business."""
    with SharedHold():
        assert joining.holder("another program has /dev/ttyACM0 open") == (
            "bain holds dark on the warmer 'pot' at /dev/ttyACM0")
        assert joining.holder("another program has /dev/ttyACM1 open") == ""
        for port in (None, "/dev/ttyACM0"):
            with joining.running_on(port) as joined:
                assert joined.hello.warmer == "pot"
        assert joining.running_on("/dev/ttyACM1") is None


def test_another_version_is_refused_in_words(monkeypatch):
    """Its frames could mean something else."""
    with SharedHold():
        monkeypatch.setattr(joining, "__version__", "0.0.1")
        with pytest.raises(LinkError, match="another version"):
            Joined(sockets()[0])


@pytest.mark.parametrize("as_csv", [False, True])
def test_each_report_is_one_line_of_json_or_one_row_of_the_log(as_csv):
    """Two reports and the end, though each report is seen several times."""
    out = io.StringIO()
    with SharedHold() as kitchen:
        watcher = threading.Thread(target=watching.stream, args=[join(), out, print], kwargs={"as_csv": as_csv},
                                   daemon=True)
        watcher.start()
        written(out, "5400")
        kitchen.scene.see(5401, decode(status_line(5402, 5401000, bowl=31250).strip()))
        written(out, "5401")
    watcher.join(10)
    lines = out.getvalue().splitlines()
    if as_csv:
        assert [line.split(",")[0] for line in lines] == ["t_s", "5400.000", "5401.000"]
    else:
        moments = [json.loads(line) for line in lines]
        assert [(each["t_s"], each["chocolate_c"], each["over"]) for each in moments] == [
            (5400, 31.5, False), (5401, 31.25, False), (5401, 31.25, True)]


def written(out, expected):
    """Wait until this was written."""
    for _ in range(500):
        if expected in out.getvalue():
            return
        time.sleep(0.02)
    raise AssertionError(out.getvalue())


def test_a_pipe_learns_that_the_program_of_the_hold_hangs_and_that_it_was_killed(monkeypatch, capsys):
    """Each silence is a line that says how old the figures are; the end is no good one, in words and status."""
    monkeypatch.setattr(watching, "STALE_S", 0.2)
    hold, scene = LiveHold(), SharedHold().scene
    hold.share(Hello(__version__, os.getpid(), "", "pot", "dark"))
    result, lines = [], []
    thread = threading.Thread(target=lambda: result.append(cli.main(["watch", "--json"])))
    thread.start()
    for number in range(1000):
        if number < 5:
            hold.put(scene, time.monotonic(), time.monotonic())
        time.sleep(0.02)
        lines += capsys.readouterr().out.splitlines()
        if len(lines) >= 3:
            break
    ages = [json.loads(line)["age_s"] for line in lines]
    assert ages == sorted(ages)
    assert ages[-1] >= 0.2
    hold.__exit__(None, None, None)
    thread.join()
    assert result == [1]
    assert watching.ENDED in capsys.readouterr().err


@pytest.mark.parametrize("as_what", ["--json", "--csv"])
@pytest.mark.parametrize(("unwatched", "status", "words"), [
    ("", 0, watching.OVER), ("left", 1, watching.UNWATCHED), ("lost", 1, watching.UNWATCHED),
    ("unanswered", 1, watching.UNANSWERED), ("restarted", 1, watching.RESTARTED),
    ("not_off", 1, watching.NOT_OFF)])  # fmt: skip
def test_a_pipe_tells_a_hold_that_was_left_or_lost_from_one_that_is_over(capsys, as_what, unwatched, status, words):
    """The warmer may hold on, and nobody watches it: a program learns so by the exit status."""
    result = []
    thread = threading.Thread(target=lambda: result.append(cli.main(["watch", as_what])))
    with SharedHold() as kitchen:
        thread.start()
        for _ in range(500):
            if "5400" in capsys.readouterr().out:
                break
            time.sleep(0.02)
        kitchen.scene.unwatched = unwatched
    thread.join()
    assert result == [status]
    assert words in capsys.readouterr().err


def test_a_call_beside_a_pipe_is_refused_and_not_forgotten(capsys):
    """Nobody would be called."""
    assert cli.main(["watch", "--json", "--alert", "true"]) == 2
    assert "--alert" in capsys.readouterr().err


def test_two_warmers_of_one_name_are_told_apart_by_the_process_of_their_hold(capsys):
    """As the page calls the second one."""
    with SharedHold("pot"), SharedHold.beside("pot", bowl=30000):
        for name in (f"pot-{os.getpid()}", "pot-1"):
            with join(name) as joined:
                assert name == f"pot-{joined.hello.process}"
        with pytest.raises(UseError, match=f"pot-{os.getpid()}"):
            join("pot")


class Follower:
    """Notes under which name it follows."""

    def start(self, warmer):
        self.warmer = warmer

    def stop(self):
        """Follow no more."""

    def trouble(self):
        return ""


def test_of_two_warmers_of_one_name_each_is_published_under_a_name_of_its_own():
    """Their values would mix under the same topics; the second says how it is called."""
    names = []
    with SharedHold.beside("pot"):
        for name in ("pot", "mat", "POT"):  # with Homie two spellings are one device
            with LiveHold() as hold:
                follower = Follower()
                hold.follow(follower)
                hold.share(Hello(__version__, 4711, "", name, "dark"))
                names.append((follower.warmer, [said for each in hold.troubles if (said := each())]))
    assert names[0][0] == "pot-4711"
    assert "another hold" in names[0][1][0]
    assert names[1] == ("mat", [])
    assert names[2][0] == "POT-4711"


def test_a_reader_that_leaves_early_is_no_error(monkeypatch, capsys):
    """As with `bain watch --json | head -1`."""
    def nobody_reads(*_, **__):
        raise BrokenPipeError

    monkeypatch.setattr(watching, "stream", nobody_reads)
    monkeypatch.setattr("bainwright.commands.console.nobody_reads", lambda _: None)
    with SharedHold():
        assert cli.main(["watch", "--json"]) == 0
    assert capsys.readouterr().err == ""


class Adding(PlainLines):
    """A view that adds an event of its own to the scene, as one that calls a person does."""

    def refresh(self, scene):
        if not any(text == "called" for _, text in scene.events):
            scene.events.append((scene.t_s, "called"))
        super().refresh(scene)


def test_an_event_is_shown_once_wherever_it_came_from():
    """The hold's own once, though each frame has it; what this terminal adds is not shown as the hold's."""
    out = io.StringIO()
    with SharedHold() as kitchen:
        watcher = threading.Thread(target=watching.Watching(join(), Adding(out)).run, daemon=True)
        watcher.start()
        written(out, "VIRTUAL")
        kitchen.scene.events.append((5400.0, "the chocolate is in its window"))
        written(out, "the chocolate is in its window")
    watcher.join(10)
    assert out.getvalue().count("the chocolate is in its window") == 1
    assert "called" not in out.getvalue()


class Presses:
    """A keyboard on which somebody presses some keys, a while apart."""

    def __init__(self, keys):
        self.keys = iter(keys)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        return

    def pressed(self):
        return next(self.keys, "")


def test_the_keys_of_a_watcher_act_and_the_end_is_asked_about(monkeypatch):
    """y answers; e alone does nothing, e twice ends; the replies are shown."""
    monkeypatch.setattr(watching, "Keys", lambda: Presses([*[""] * 8, "y", *[""] * 8, "e", "b", *[""] * 4, "e", "e"]))
    out = io.StringIO()
    with SharedHold(ask="pour") as kitchen:
        shown = watching.Watching(join(), PlainLines(out))
        watcher = threading.Thread(target=shown.run, daemon=True)
        watcher.start()
        written(out, "the warmer has it")
        for _ in range(500):
            if len(kitchen.done) == 2:
                break
            time.sleep(0.02)
    watcher.join(10)
    assert kitchen.done == [("yes", "pour"), ("finish", "")]
    assert "e once more ends it" in out.getvalue()


def test_the_question_of_a_second_terminal_lapses_too(monkeypatch):
    """An e long after it asks again."""
    monkeypatch.setattr(watching, "LAPSES_S", -1.0)
    with SharedHold() as kitchen, join() as joined:
        there = watching.Watching(joined, PlainLines(io.StringIO()))
        there._frame = Frame(kitchen.scene, 0.0, False, False)
        for _ in range(3):
            there._turn("e")
        assert not there._waiting
