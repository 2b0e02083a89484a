"""The superloop: read, supervise, control, drive, talk, feed the watchdog; asleep until its next deadline."""

import sys

from bainboard import store, wire
from bainboard.board import Board
from bainboard.drive import Pwm, TimeProportioned
from bainboard.outbox import Outbox
from bainboard.service import Documents, Service, milli
from bainboard.warmer import CHECK, HEATING, TRIP, Warmer

TICK_MS = 1000
STATUS = (  # fields of the status line; True: a word
    ("status", False), ("t", False), ("state", True), ("stage", True), ("water", False), ("bowl", False),
    ("est", False), ("target", False), ("water_target", False), ("duty", False), ("on", False), ("fault", False),
    ("warn", False), ("ask", True), ("drops", False),
)
CRASH_FILE = "/crash.txt"  # the last error's traceback, for the person who fetches it with mpremote


class App:
    """The parts of the firmware on one board, and the loop that runs them."""

    def __init__(self, board, files):
        self.board = board
        self._latch = store.Slots(files, "latch")
        self._stored_latch = store.read_latch(self._latch)
        self.documents = Documents(files)
        self.outbox = Outbox()
        self._status = wire.Template(STATUS)
        self._lines = self._events = 0
        self.service = Service(self, self.documents, self.outbox.put)
        self.build(self._stored_latch)
        self._tell("boot", [("cause", board.reset_cause())], 0)

    def build(self, latch_fault):
        """Make what the settings decide; at boot, and at idle when they change."""
        values = self.documents.settings
        self.warmer = Warmer(values, latch_fault)
        self.water = self.board.probe(values, "water")
        self.bowl = self.board.probe(values, "bowl")
        if values["switch"] == "dc":
            self.board.use_pwm()
            self.drive = Pwm(self.board.now_ms())
        else:
            self.drive = TimeProportioned(int(values["period_s"] * 1000), values["step_ms"], self.board.now_ms())
        self.restart_tick(self.board.now_ms())

    def restart_tick(self, now_ms):
        """Begin a conversion now and read it one tick on: the first reading is whole, and a hold's ticks count from its start."""
        self._last_ms = now_ms
        self._tick_ms = now_ms + TICK_MS
        self._convert()

    def _convert(self):
        self.water.start()
        if self.bowl is not None:
            self.bowl.start()

    # -- the loop -------------------------------------------------------------------------------------------------

    def run(self):
        """Loop until maintenance is asked for."""
        while not (self.service.leave and self.outbox.empty):
            now_ms = self.board.now_ms()
            data = self.board.receive()
            if data:
                self.service.take(data, now_ms)
            self.board.switch(self.drive.poll(now_ms))
            if now_ms >= self._tick_ms:
                self._tick(now_ms)
            self.outbox.pump(self.board.send)
            self.board.wait(min(self._tick_ms, self.drive.deadline_ms))

    def _tick(self, now_ms):
        dt_ms = now_ms - self._last_ms
        self._last_ms = now_ms
        self._tick_ms += TICK_MS
        if self._tick_ms <= now_ms:  # late by more than a tick: start counting afresh rather than catch up
            self._tick_ms = now_ms + TICK_MS
        w = self.warmer
        on_ms = self.drive.take_on_ms(now_ms)
        given_j = w.values["heater_w"] * on_ms / 1000 if w.guard else 0.0
        water_c, water_code = self.water.read(now_ms)
        bowl_c, _ = self.bowl.read(now_ms) if self.bowl is not None else (None, 0)
        self._convert()
        hold_ms = self.service.hold_ms(now_ms)  # before the step, which may end the hold
        w.step(now_ms, dt_ms, water_c, water_code, bowl_c, given_j)
        self._drive(now_ms)
        self._remember_latch(now_ms)
        self._report(hold_ms, on_ms, water_c, bowl_c)
        self.board.feed()

    def _drive(self, now_ms):
        """Guard and switch as the warmer decided; the heartbeat only while it heats."""
        w = self.warmer
        if w.state == CHECK and not self.board.watched:
            self.board.start_watchdog(w.values["trip.watchdog_ms"])
        if w.duty > 0.0:
            self.drive.set(w.duty)
        else:
            self.drive.off(now_ms)
        self.board.guard.value(w.guard)
        if w.state in HEATING:
            self.board.beat()
        self.board.switch(self.drive.poll(now_ms))

    def _remember_latch(self, now_ms):
        """A latch must outlive the power: stored on the pass that sets it, heater already off."""
        latch = self.warmer.fault if self.warmer.state == TRIP else 0
        if latch != self._stored_latch:
            self._stored_latch = latch
            try:
                self._latch.save(store.latch_payload(latch, now_ms))
            except OSError:  # a full or worn flash: the latch holds until the power goes, and the person is told
                self._tell("latch_not_stored", [], self.service.hold_ms(now_ms))

    # -- talking ---------------------------------------------------------------------------------------------------

    def _report(self, hold_ms, on_ms, water_c, bowl_c):
        w = self.warmer
        for name, pairs in w.events:
            self._tell(name, pairs, hold_ms)
        w.events = []
        p = w.programme
        estimated = bowl_c is None and p is not None
        if estimated:
            bowl_c = w.cascade.bowl_est_c
        self._lines += 1
        self.outbox.put(self._status.line((
            self._lines,
            hold_ms,
            w.shown_state,
            p.stage if p else "",
            milli(water_c),
            milli(bowl_c),
            int(estimated),
            milli(p.target_c) if p else None,
            milli(w.cascade.water_target_c) if p else None,
            int(w.duty * 10000 + 0.5),
            on_ms,
            w.fault,
            w.warn,
            p.prompt if p else "",
            self.outbox.drops,
        )))

    def _tell(self, name, pairs, hold_ms):
        self._events += 1
        head = [("event", name), ("n", self._events), ("t", hold_ms)]
        self.outbox.put(wire.encode(head + pairs))


def main():
    """Run the warmer; whatever ends it leaves the heater off and the guard open."""
    board = Board()
    app = None
    try:
        app = App(board, store.Files("/"))
        app.run()
    except KeyboardInterrupt:
        pass  # Ctrl-C: the same way out as any other end
    except Exception as error:
        board.safe()
        with open(CRASH_FILE, "w") as file:
            sys.print_exception(error, file)
        raise
    finally:
        board.safe()
        # A board that was heating, or whose watchdog runs, restarts to idle; an idle one goes to its REPL.
        if app is not None and (app.warmer.state in HEATING or board.watched):
            board.reset()
    print("bainboard: stopped, heater off; this is the plain REPL")
