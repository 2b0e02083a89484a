"""Requests one at a time: without memory none changes anything, a stop waits for none, no noise leads to the REPL."""

from bainboard import commands, requests_urgent, service, settings, starting, wire
from bainboard.service import KNOCK_MS, MOST_LINES, NO_MEMORY, Service


class Warmer:
    """A state, and what was asked."""

    def __init__(self, state="hold"):
        self.state = state
        self.asked = []

    def act(self, name, now_ms, **details):
        self.asked.append(name)

    def stop(self):
        self.asked.append("stop")


class Power:
    """Nothing waits to be resumed."""

    def drop(self):
        pass


class App:
    """What the requests of these tests need of the app."""

    def __init__(self, state="hold"):
        self.warmer = Warmer(state)
        self.power = Power()


class Host:
    """A service with its answers."""

    def __init__(self, state="hold"):
        self.app = App(state)
        self.answers = []
        self.service = self.app.service = Service(self.app, self._take)
        self._id = 0

    def _take(self, line):
        self.answers.append(wire.decode(line)[0])

    def say(self, do, **fields):
        """Send a request."""
        self._id += 1
        self.service.take(line_of(self._id, do, fields), 0)

    def work(self):
        """Until nothing waits; the slices that took."""
        count = 0
        while self.service.waiting:
            self.service.work(0)
            count += 1
        return count


def line_of(number, do, fields):
    """A request as a host writes it."""
    return wire.encode([("id", number), ("do", do)] + sorted(fields.items()))  # noqa: RUF005 - MicroPython has no [*a, *b]


class Requests:
    """Replaces the modules of requests."""

    left = 0  # of memory failures

    @staticmethod
    def confirm(app, args, now_ms):
        """Fails for want of memory so often, then is done."""
        if Requests.left:
            Requests.left -= 1
            raise MemoryError
        app.warmer.asked.append("confirm")
        return [], None

    @staticmethod
    def test(app, args, now_ms):
        """Three slices, the last with the answer; or no memory in the second."""
        yield None
        if Requests.left:
            raise MemoryError
        yield None
        app.warmer.asked.append("test")
        yield [("took", 3)], None


class Broken:
    """Replaces the modules of requests by some with an error in them."""

    @staticmethod
    def confirm(app, args, now_ms):
        """Fails at once."""
        raise ValueError("no such index")

    @staticmethod
    def test(app, args, now_ms):
        """Fails in its second slice."""
        yield None
        raise KeyError("kp")

    @staticmethod
    def hello(app, args, now_ms):
        """Gives an answer that no line can carry."""
        return [("object", app)], None

    @staticmethod
    def stop(app, args, now_ms):
        """Cannot stop."""
        raise OSError(5)


def test_an_error_in_a_request_is_its_answer_and_the_hold_continues():
    def check():
        for do, cause in (("confirm", "ValueError: no such index"), ("test", "KeyError"), ("hello", "")):
            host = Host()
            host.say(do)
            host.work()
            (answer,) = host.answers
            assert answer["re"] == 1
            assert answer["ok"] is False
            assert "an error in the firmware" in answer["why"]
            assert cause in answer["why"]
            assert host.app.warmer.asked == []
            host.service.take(line_of(9, "clear", {}), 0)  # and the next request is done as ever
            host.work()
            assert host.answers[-1]["re"] == 9

    with_requests(check, Broken)


def test_an_error_in_a_stop_ends_the_run_which_turns_the_heat_off():
    def check():
        try:
            Host().say("stop")
        except OSError:
            return
        raise AssertionError("the error was swallowed, and the warmer still heats")

    with_requests(check, Broken)


def with_requests(check, own=Requests):
    """Run a check with our own requests before the real ones."""
    real = service._handler
    service._handler = lambda name: getattr(own, name) if hasattr(own, name) else real(name)
    try:
        check()
    finally:
        service._handler = real
        Requests.left = 0


def test_a_request_that_finds_no_memory_says_so_and_is_done_when_it_is_sent_again():
    def check():
        host = Host()
        Requests.left = 1
        for _ in range(2):
            host.service.take(line_of(7, "confirm", {}), 0)
            host.work()
        assert host.answers == [{"re": 7, "ok": False, "why": NO_MEMORY}, {"re": 7, "ok": True}]
        assert host.app.warmer.asked == ["confirm"]

    with_requests(check)


def test_a_request_in_slices_is_answered_by_its_last_and_the_next_one_waits_for_it():
    def check():
        host = Host()
        host.say("test")
        host.say("thicker")
        for _ in range(3):
            host.service.work(0)
        assert (host.answers, host.app.warmer.asked) == ([], [])
        host.service.work(0)
        assert host.answers == [{"re": 1, "ok": True, "took": 3}]
        host.service.work(0)
        assert host.app.warmer.asked == ["test", "thicker"]
        assert not host.service.waiting

    with_requests(check)


def test_a_slice_that_finds_no_memory_ends_its_request_and_no_other():
    def check():
        host = Host()
        Requests.left = 1
        host.say("test")
        host.say("thicker")
        host.work()
        assert host.answers == [{"re": 1, "ok": False, "why": NO_MEMORY}, {"re": 2, "ok": True}]

    with_requests(check)


def test_a_stop_waits_for_no_other_request_not_even_for_one_half_done():
    def check():
        host = Host()
        for do in ("test", "thicker", "thinner"):
            host.say(do)
        host.service.work(0)
        host.say("stop")
        assert host.app.warmer.asked == ["stop"]
        assert host.answers == [{"re": 4, "ok": True}]
        host.work()
        assert host.app.warmer.asked == ["stop", "test", "thicker", "thinner"]

    with_requests(check)


def test_no_more_is_read_while_enough_requests_wait():
    host = Host()
    for n in range(MOST_LINES):
        assert not host.service.full, n
        host.say("thicker")
    assert host.service.full
    host.service.work(0)
    assert not host.service.full


def test_what_is_no_line_of_ours_is_refused_and_the_next_is_heard():
    host = Host()
    host.service.take(b"AT\r\n\x00\xff\n", 0)
    host.say("thicker")
    host.work()
    assert [answer["ok"] for answer in host.answers] == [False, False, True]


# -- the way to the REPL -----------------------------------------------------------------------------------------------


def knocked(state, *heard):
    """Does this lead to the REPL? Each (ms, bytes); the board hands over up to a Ctrl-C at a time."""
    host = Host(state)
    for now_ms, data in heard:
        start = 0
        while start < len(data):
            end = data.find(b"\x03", start) + 1 or len(data)
            host.service.take(data[start:end], now_ms)
            start = end
    return host.service.knocked


def test_mpremote_and_a_person_who_insists_get_the_prompt_of_a_board_at_rest():
    for state in ("idle", "trip"):
        assert knocked(state, (0, b"\r\x03\r\x01"))  # what mpremote 1.29 writes first (transport_serial.py)
        assert knocked(state, (0, b"half a li"), (5, b"\r"), (9, b"\x03"))
        assert knocked(state, (0, b"\x03"), (400, b"\x03"), (800, b"\x03"))
        assert not knocked(state, (0, b"\x03"), (400, b"\x03"), (400 + KNOCK_MS, b"\x03"))


def test_nothing_does_while_a_hold_runs():
    for state in ("check", "hold", "pause"):
        assert not knocked(state, (0, b"\r\x03\r\x01"), (10, b"\x03\x03\x03\x03"))


def test_no_single_flipped_bit_in_a_request_does():
    for do, fields in (("commit", {}), ("start", {"stage": "work", "for_ms": 0, "room": 20000})):
        line = line_of(3, do, fields)
        for bit in range(8 * len(line)):
            bad = bytearray(line)
            bad[bit // 8] ^= 1 << bit % 8
            assert not knocked("idle", (0, bytes(bad))), bit


def test_every_request_has_one_function_that_does_it():
    """Against the table of requests."""
    found = 0
    for row in commands.COMMANDS:
        owners = [module for module in service.LOADED_FOR if row[commands.NAME] in service.LOADED_FOR[module]]
        assert len(owners) + hasattr(requests_urgent, row[commands.NAME]) == 1, row
        assert service._handler(row[commands.NAME]).__name__ == row[commands.NAME]
        found += len(owners)
    assert found == sum([len(names) for names in service.LOADED_FOR.values()])


def test_a_transfer_is_open_until_it_is_committed_or_its_host_falls_silent():
    host = Host()
    assert host.service.idle(0)
    host.say("begin", what="gains", size=2, sha256="0" * 64)
    host.work()
    assert host.answers[-1]["ok"]
    assert not host.service.idle(15000)
    assert host.service.idle(15001)
    assert host.service.transfer is None


class Resting(App):
    """A board at rest, of which a hold is asked."""

    def __init__(self):
        super().__init__("idle")
        self.water_low = False
        self.memory_left = 1
        self.documents = self.standalone = self.log = self.boot_slots = self.latch_slots = self.power = self
        self.flash_full = False
        self.damaged = []
        self.profile = dict(settings.defaults(settings.PROFILE), name="dark", kind="dark")
        self.settings = settings.defaults(settings.SETTINGS)
        self.payload = {"settings": b""}
        self.warmer.start = lambda *_: None
        self.service = Service(self, None)

    def locked_out(self, now_ms):
        return False

    def record(self, end, hold):
        return b""

    def double(self):
        pass

    def save(self, payload):
        if self.flash_full:
            raise OSError(28)

    def restart_tick(self, now_ms):
        pass

    def begin(self, now_ms, pairs):
        if self.memory_left == 0:
            raise MemoryError


def test_a_hold_takes_the_place_of_maintenance_that_was_asked_for_and_has_not_begun():
    """Nobody read, so the board could not leave; it would have left in the middle of the hold."""
    app = Resting()
    app.service.leave = app.service.knocked = True
    assert starting._start(app, "work", 0, 20.0, 0, lambda: None) is None
    assert not app.service.leave
    assert not app.service.knocked


def test_a_start_that_finds_no_memory_after_the_warmer_began_heats_nothing():
    """It was answered with "nothing was changed", and the board heated."""
    app = Resting()
    app.memory_left = 0
    begun = []
    try:
        starting._start(app, "work", 0, 20.0, 0, lambda: begun.append(1))
    except MemoryError:
        begun.append(2)
    assert begun == [2]
    assert app.warmer.asked == ["stop"]


def test_a_flash_that_takes_no_record_starts_no_hold():
    """It would take no latch either, and after a power cut the warmer would have forgotten its trip."""
    app = Resting()
    app.flash_full = True
    app.warmer.start = lambda *_: app.warmer.asked.append("start")
    assert "flash is full" in starting._start(app, "work", 0, 20.0, 0, lambda: None)
    assert app.warmer.asked == []


class Starts:
    """A start whose answer finds no memory, or no line that can carry it."""

    fails = True

    @staticmethod
    def start(app, args, now_ms):
        app.warmer.state = "check"
        if Starts.fails:
            raise MemoryError
        return [("low", object())], None


def test_a_start_that_is_answered_as_not_done_is_stopped():
    def check():
        for fails in (True, False):
            Starts.fails = fails
            host = Host("idle")
            host.say("start", stage="work", for_ms=0)
            host.work()
            assert not host.answers[-1]["ok"], host.answers
            assert host.app.warmer.asked == ["stop"]

    with_requests(check, Starts)
