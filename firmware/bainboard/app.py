"""The superloop: read, supervise, control, drive, talk, feed the watchdog; asleep until its next deadline."""

import sys

from bainboard import heap_reserve, store, wire
from bainboard.board import Board
from bainboard.documents import Documents
from bainboard.drive import Pwm, TimeProportioned
from bainboard.flashlog import NO_MEMORY, FlashLog
from bainboard.log_folder import Folder
from bainboard.outbox import Outbox
from bainboard.panel_logic import PanelLogic
from bainboard.panel_task import PanelTask
from bainboard.powerup import CLEAN, CRASH, MEMORY, OUTAGE_S, RESUMES, RUNNING, PowerUp
from bainboard.service import ROOM_MS, Service
from bainboard.standalone import Standalone
from bainboard.warmer import CHECK, HEATING, IDLE, PAUSE, Warmer

TICK_MS = 1000
JITTER_MS = 50  # chosen: a tick later by less counts as whole, so that a slow pass changes no duty
LOW_MS = 5000  # chosen: waves, and a bowl that is set in, are shorter; the drill's words give it 10 s
LISTEN_MS = 20  # chosen: reading 256 bytes one by one takes some 10 ms; a stop is heard at most this much later
SWEEP_MS = 40  # a sweep of a board's heap takes 26 to 31 (measured on an emulated RP2040)
LOG_FOLDER = "/log"
LOG_ROOM_MS = 120  # a sync erases one sector and now and then a second (45 ms each, W25Q16JV) and writes some pages
LOG_PATIENCE_MS = 5000  # at nearly full duty no pause is long enough: then it is done all the same
PROVED_MS = 60000  # chosen: a version new on the board that ran this long, or answered a host, starts next time too
HEAP_MS = 60000  # chosen: a leak shows itself over hours
CRASH_FILE = "/crash.txt"  # the last error's traceback, for the person who fetches it with mpremote


class App:
    """The parts of the firmware on one board, and the loop that runs them."""

    def __init__(self, board, files, version: str = "", keep=None) -> None:
        self.board = board
        self.version = version  # hash of the firmware's files
        self._mark_good = keep  # to be called once this version has proved itself; None when it has
        self.latch_slots = store.Slots(files, "latch")
        self._stored_latch = store.read_latch(self.latch_slots)
        self.documents = Documents(files, board.misfit)
        self.outbox = Outbox()
        self._send = board.send  # bound once: each binding is an object, ten a second
        self._status = wire.Template(wire.STATUS)
        self._lines = self._events = 0
        self._sweep_due = self._idle = False  # is a sweep to be thought of; does no request wait
        self.log = FlashLog(Folder(LOG_FOLDER))
        self.log.open(self.documents.settings, board.now_ms(), board.wall_s())
        self._log_reported = False
        self._logs = True  # until an error in the log
        self.standalone = Standalone(self)
        self.service = Service(self, self.outbox.put)
        self.boot_slots = store.Slots(files, "boot")
        self.power = PowerUp(self.boot_slots.load()[0], board.reset_cause())
        self._record_ms: int | None = None  # since when the record of this run is to be written
        self._heap_ms = HEAP_MS
        self._driving = False  # switch or guard were set by a hold
        self._wet_ms = 0  # when the float last hung in water
        self.water_low = False
        self.build(self._stored_latch, self.power.evidence)
        self.report("boot", [("cause", board.reset_cause()), ("why", self.power.why)], 0)

    def build(self, latch_fault: int, evidence: tuple) -> None:
        """Make what the settings decide; at boot, and at idle when they change."""
        values = self.documents.settings
        self._last_ms = self.board.now_ms()
        self.log.set(values)
        self.warmer = Warmer(values, latch_fault, evidence)
        self.board.use_pins(values)
        self.board.use_float(values["float"])
        self.water = self.board.probe(values, "water")
        self.bowl = self.board.probe(values, "bowl")
        self.second = self.board.probe(values, "water2")
        if values["switch"] == "dc":
            self.board.use_pwm()
            self.drive: Pwm | TimeProportioned = Pwm(self.board.now_ms())
        else:
            self.drive = TimeProportioned(int(values["period_s"] * 1000), values["step_ms"], self.board.now_ms())
        if values["panel"]:
            self.board.use_panel()
        self.panel_logic = PanelLogic()
        self._panel = PanelTask(self)
        self.display = None
        if values["display"]:
            try:
                from bainboard.display_task import DisplayTask  # most rigs have none

                self.display = DisplayTask(self)
            except Exception as error:
                self.do_without("display", error)
        self.restart_tick(self.board.now_ms())

    def restart_tick(self, now_ms: int) -> None:
        """Begin a conversion now, read it one tick on: the first reading is whole, and ticks count from the start."""
        self._last_ms = now_ms
        self._tick_ms = now_ms + TICK_MS
        self._convert()

    def _convert(self) -> None:
        self.water.start()
        for probe in (self.bowl, self.second):
            if probe is not None:
                probe.start()

    def confirm_version(self) -> bool:
        """This version works, so the next start takes it again; is that stored?"""
        try:
            if self._mark_good is not None:
                self._mark_good()
                self._mark_good = None
        except OSError:  # a full or worn flash: the next start goes back to the version before, which worked
            return False
        return True

    # -- the loop -------------------------------------------------------------------------------------------------

    def run(self) -> None:
        """Loop until maintenance is asked for, or somebody knocks for the REPL."""
        self.board.interruptible(False)
        heard = True
        while not (self.service.knocked or (self.service.leave and self.outbox.empty)):
            now_ms = self.board.now_ms()
            if heard and self._has_room(now_ms, LISTEN_MS):
                self._listen(now_ms)
            self.board.switch(self.drive.poll(now_ms))
            if now_ms >= self._tick_ms:
                self._tick(now_ms)
            heard = self._beside_heat(now_ms)

    def _listen(self, now_ms: int) -> None:
        try:
            self.service.take(self.board.receive(), now_ms)
        except MemoryError:
            self._short_of_memory()
        self._let_go(now_ms)

    def _beside_heat(self, now_ms: int) -> bool:
        """What the heat does not need: panel, requests, flash, display. Without memory for it, it waits; true if heard.

        Then the loop sleeps until something is due, or the host writes.
        """
        try:
            if now_ms >= self._panel.due_ms:
                self._panel.run(now_ms, self._tick_ms)
                self._let_go(now_ms)
            self.outbox.pump(self._send)
            if self._serve():
                return not self.service.full
            until_ms = min(self._tick_ms, self._panel.due_ms, self.drive.deadline_ms)
            if self._record_ms is not None:
                self._write_record()
            if self._logs:
                self._sync_log()
            self._draw(until_ms)
            if self._sweep_due and self._has_room(self.board.now_ms(), SWEEP_MS):
                self._sweep_due = False
                heap_reserve.sweep(self._idle)
        except MemoryError:
            self._short_of_memory()
        until_ms = min(self._tick_ms, self._panel.due_ms, self.drive.deadline_ms)
        if self.service.waiting or not self._has_room(self.board.now_ms(), LISTEN_MS):
            self.board.sleep(until_ms)  # a wait for the host would end at once where it has written more
            return not self.service.full
        return self.board.wait(until_ms)

    def _draw(self, until_ms: int) -> None:
        if self.display is not None:
            try:
                self.display.draw(until_ms)
            except Exception as error:
                self.do_without("display", error)

    def do_without(self, part: str, error: Exception) -> None:
        """An error in a part that the heat does not need: report it, and go without the part until the next start."""
        if isinstance(error, MemoryError):
            raise error  # a later pass may find memory
        if part == "display":
            self.display = None
        elif part == "log":
            self._logs = False
        self.report("part_off", [("part", part), ("why", f"{type(error).__name__}: {wire.shown(str(error))}")],
                    self.hold_ms(self._last_ms))

    def _has_room(self, now_ms: int, room_ms: int) -> bool:
        """While it heats: is neither a tick nor an edge of the switch due for so long?"""
        return self.warmer.state not in HEATING or min(self._tick_ms, self.drive.deadline_ms) - now_ms >= room_ms

    def _serve(self) -> bool:
        """One slice of a request, if one waits and nothing that moves the heat is due soon: was it done?"""
        if not self.service.waiting:
            return False
        now_ms = self.board.now_ms()
        if not self._has_room(now_ms, ROOM_MS):
            return False
        self.service.work(now_ms)
        self.outbox.pump(self._send)
        self._let_go(now_ms)
        return True

    def _let_go(self, now_ms: int) -> None:
        """A hold that was just stopped or paused lets go of switch and guard in this pass, not at the next tick."""
        if self._driving and self.warmer.state not in HEATING:
            self._driving = False
            self.drive.off(now_ms)
            self.board.guard.value(0)
            self.board.switch(self.drive.poll(now_ms))

    def _short_of_memory(self) -> None:
        """Something beside the heat found no memory: lines that no PC reads give way, and it is tried again."""
        self.outbox.shed()
        if self._idle:
            heap_reserve.unload()
        heap_reserve.retake()

    def _tick(self, now_ms: int) -> None:
        dt_ms = now_ms - self._last_ms
        if abs(dt_ms - TICK_MS) < JITTER_MS:
            dt_ms = TICK_MS
        self._last_ms = now_ms
        self._tick_ms += TICK_MS
        if self._tick_ms < now_ms + TICK_MS // 2:  # late by half a tick: start counting afresh rather than catch up
            self._tick_ms = now_ms + TICK_MS
        w = self.warmer
        on_ms = self.drive.take_on_ms(now_ms)
        given_j = w.values["heater_w"] * on_ms / 1000 if w.guard else 0.0
        self._look_at_float(now_ms)
        water_c, water_code = self.water.read(now_ms)
        bowl_c, bowl_code = self.bowl.read(now_ms) if self.bowl is not None else (None, 0)
        second_c, second_code = self.second.read(now_ms) if self.second is not None else (None, -1)
        self._convert()
        hold_ms = self.hold_ms(now_ms)  # before the step, which may end the hold
        i = w.inputs
        i.settings_bad = bool(self.documents.damaged)
        i.ended, i.rebooting = self.power.ended, self.power.rebooting
        # A probe that was calibrated in boiling water is still in it for a while after the lock-out has ended.
        still_hot = i.in_hand and not (water_c is not None and water_c < w.values["hard_limit_c"])
        i.in_hand = w.state == IDLE and (still_hot or self.standalone.locked_out(now_ms))
        w.step(now_ms, dt_ms, water_c, water_code, bowl_c, given_j, second_c)
        self._drive(now_ms)
        self._look_at_heap(now_ms)
        try:
            self._store_latch(now_ms)
            self._send_status(hold_ms, on_ms, water_c, bowl_c)
            self._remember_run(now_ms, water_c)
            if self._mark_good is not None and now_ms > PROVED_MS and w.state not in HEATING:
                self.confirm_version()
        except MemoryError:
            self._short_of_memory()
        self._idle = self.service.idle(now_ms)
        self._sweep_due = True
        # Fed by a pass in which each probe was read or declared faulty; while a fault is in force, only cold.
        looked = (water_c is None) == (water_code != 0) and (second_c is None) == (second_code != 0)
        if self.bowl is not None:
            looked = looked and (bowl_c is None) == (bowl_code != 0)
        if looked and (not w.fault or not (w.duty or w.guard)):
            self.board.feed()

    def _look_at_float(self, now_ms: int) -> None:
        """The float opens the guard relay by itself; a hold whose water stays low is paused, and asks for water."""
        if not self.board.water_low():
            self._wet_ms = now_ms
        self.water_low = now_ms - self._wet_ms >= LOW_MS
        if self.water_low and self.warmer.state in HEATING:
            self.warmer.pause(now_ms)
            self.report("water_low", [], self.hold_ms(now_ms))

    @property
    def asked(self) -> str:
        """What the person is asked, on every display."""
        p = self.warmer.programme
        if self.water_low and self.warmer.state == PAUSE:
            return "water_low"
        return p.prompt if p else self.standalone.prompt

    def chosen(self, number: int, name: str, now_ms: int) -> None:
        """A person chose a chocolate: report it, and show its number."""
        self.panel_logic.number(number, now_ms)
        self.report("chosen", [("number", number), ("name", name)], self.hold_ms(now_ms))

    def lock(self, locked: bool, now_ms: int) -> None:
        """The large buttons are locked for the night, or not any more."""
        self.panel_logic.lock(locked, now_ms)
        self.report("lock", [("at", "on" if locked else "off")], self.hold_ms(now_ms))

    def _drive(self, now_ms: int) -> None:
        """Guard and switch as the warmer decided; the heartbeat only while it heats."""
        w = self.warmer
        if w.state == CHECK and not self.board.watched:
            self.board.start_watchdog(w.values["trip.watchdog_ms"])
        if w.duty > 0.0:
            self.drive.set(w.duty)
        else:
            self.drive.off(now_ms)
        self.board.guard.value(w.guard)
        self._driving = w.state in HEATING
        if w.state in HEATING:
            self.board.beat()
        self.board.switch(self.drive.poll(now_ms))

    def _store_latch(self, now_ms: int) -> None:
        """A latch must outlive the power: stored on the pass that sets it, heater already off."""
        latch = self.warmer.latch
        if latch != self._stored_latch:
            try:
                self.latch_slots.save(store.latch_payload(latch, now_ms))  # with no memory: again on the next pass
            except OSError:  # a full or worn flash: the latch holds until the power goes, and the person learns it
                self.report("latch_not_stored", [], self.hold_ms(now_ms))
            self._stored_latch = latch

    def _look_at_heap(self, now_ms: int) -> None:
        """Too little free memory ends the run while the heat can still be turned off in order."""
        if now_ms >= self._heap_ms:
            self._heap_ms = now_ms + HEAP_MS
            floor = self.warmer.values["trip.heap_floor"]
            free = self.board.short_of_heap(floor)
            if free is not None:
                raise MemoryError(f"{free} bytes free, wanted {floor}")

    def _remember_run(self, now_ms: int, water_c: float | None) -> None:
        """What a power cut must not wipe out; a hold that one ended; memory."""
        w, power = self.warmer, self.power
        if power.offer is not None and w.state == IDLE and water_c is not None:
            self._offer(now_ms, water_c, self.log.wall_s(now_ms))
        often = w.values["resume"] and self.log.wall_s(now_ms) > 0
        if power.due(now_ms, w.stage_under_way, often, w.evidence) and self._record_ms is None:
            self._record_ms = now_ms

    def _offer(self, now_ms: int, water_c: float | None, wall_s: int) -> None:
        """The hold that was under way resumes by itself where all that takes is known; else a person is asked."""
        w, power = self.warmer, self.power
        off_s = power.off_s(wall_s, now_ms // 1000)
        if off_s is not None and not power.off_known:
            power.off_known = True
            w.was_off(off_s)
        if now_ms < OUTAGE_S * 1000 and power.may_resume(w.values["resume"], off_s, water_c):
            from bainboard import starting  # loaded for this, and dropped again: see heap_reserve

            if starting.resume_offer(self, now_ms, True) is None:
                return
            power.resumes = RESUMES  # it cannot, and is not tried again
        if power.asked:
            return
        power.asked = True
        about_s = power.cooled_s(water_c, w.cascade.gains) if off_s is None else off_s
        self.report("power_back", [("why", power.why), ("off_s", about_s), ("known", off_s is not None),
                                  ("stage", power.offer["stage"]), ("water", wire.milli(water_c)),
                                  ("bowl", wire.milli(w.bowl_c))], 0)

    def _under_way(self, now_ms: int) -> list | None:
        """The hold as the record has it, or None."""
        w = self.warmer
        if w.stage_under_way is None or w.inputs.water_c is None:
            return None
        name, for_ms, left_ms = w.programme.outline(now_ms)
        return [("stage", w.stage_under_way), ("name", name), ("for_ms", for_ms), ("left_ms", left_ms),
                ("room", wire.milli(w.room_c)), ("water", wire.milli(w.inputs.water_c)),
                ("wall_s", self.log.wall_s(now_ms))]

    def _quiet(self, now_ms: int) -> bool:
        """May the flash stop the loop for a while? The switch is off and nothing that moves the heat is due soon.

        A press may be: the buttons are looked at ten times a second, and no pause between two looks is long enough.
        """
        return self.drive.resting and self._has_room(now_ms, LOG_ROOM_MS)

    def _write_record(self) -> None:
        """Write the record of this run while the flash delays no heat."""
        now_ms = self.board.now_ms()
        if self._quiet(now_ms) or now_ms - self._record_ms > LOG_PATIENCE_MS:
            self._record_ms = None
            self._store_record(RUNNING, now_ms)

    def _store_record(self, end: str, now_ms: int) -> None:
        try:
            self.boot_slots.save(self.power.record(end, None if end == CLEAN else self._under_way(now_ms)))
        except (OSError, MemoryError):
            return  # nothing to do about it; the next start takes this run for a hang or a power cut, and stays off

    def end(self, end: str) -> None:
        """How this run ended, and the hold under way unless a person ended it."""
        self.outbox = self.service = None  # after a lack of memory there must be room to say so
        self._store_record(end, self.board.now_ms())

    def restarts(self, end: str) -> bool:
        """Is the board to restart after this end of a rest? Not when that was tried too often already."""
        return end != CLEAN and not self.power.rebooting

    def _sync_log(self) -> None:
        """One act on the flash for the log, while it delays no heat."""
        now_ms = self.board.now_ms()
        overdue_ms = self.log.overdue_ms(now_ms)
        if overdue_ms is None:
            return
        if self._quiet(now_ms) or overdue_ms > LOG_PATIENCE_MS:
            try:
                self.log.sync(now_ms)
                if self.log.trouble == NO_MEMORY and self.outbox.shed():
                    self.log.sync(now_ms)
            except Exception as error:
                self.do_without("log", error)
            heap_reserve.retake()
            if self.log.trouble and not self._log_reported:
                self._log_reported = True
                self.report("log_stopped", [("why", self.log.trouble)], self.hold_ms(now_ms))

    def hold_ms(self, now_ms: int) -> int:
        """Milliseconds since the hold began; 0 when none runs."""
        return 0 if self.warmer.programme is None else now_ms - self.warmer.started_ms

    # -- talking ---------------------------------------------------------------------------------------------------

    def _send_status(self, hold_ms: int, on_ms: float, water_c: float | None, bowl_c: float | None) -> None:
        w, p = self.warmer, self.warmer.programme
        if w.state in (CHECK, PAUSE):  # the programme waits in them; what a press does is reported at its own time
            for name, pairs in p.take_events():
                w.report(name, pairs)
        while w.events:  # one that finds no memory is reported on the next tick
            name, pairs = w.events[0]
            self.report(name, pairs, hold_ms)
            w.events.pop(0)
        estimated = bowl_c is None and p is not None
        if estimated:
            bowl_c = w.cascade.bowl_est_c
        self._lines += 1
        line = (
            self._lines,
            hold_ms,
            w.shown_state,
            p.stage if p else "",
            wire.milli(water_c),
            wire.milli(bowl_c),
            int(estimated),
            wire.milli(p.target_c) if p else None,
            wire.milli(w.cascade.water_target_c) if p else None,
            int(w.duty * 10000 + 0.5),
            on_ms,
            w.fault,
            w.warn,
            self.asked,
            self.outbox.drops,
        )
        self.outbox.put(self._status.line(line))
        part = "log"
        try:
            if self._logs:
                self.log.status(self._last_ms, line)
            part = "display"
            if self.display is not None:
                self.display.look(water_c, bowl_c, estimated, hold_ms)
        except Exception as error:
            self.do_without(part, error)

    def report(self, name: str, pairs: list, hold_ms: int) -> None:
        """Something happened: to the host, the log and the panel."""
        line = wire.encode([("event", name), ("n", self._events + 1), ("t", hold_ms)] + pairs)
        failed = self._log_event(hold_ms, name, pairs)
        self._events += 1
        self.outbox.put(line)
        self.panel_logic.event(name, self._last_ms)
        if failed is not None:
            self.do_without("log", failed)

    def _log_event(self, hold_ms: int, name: str, pairs: list) -> Exception | None:
        """Log an event; what went wrong, where that is no lack of memory."""
        if self._logs:
            try:
                self.log.event(self._last_ms, hold_ms, name, pairs)
            except MemoryError:
                raise
            except Exception as error:
                return error
        return None


def main(version: str, keep) -> None:
    """Run the warmer; whatever ends it leaves the heater off and the guard open."""
    board = Board()
    app, end = None, CLEAN
    try:
        app = App(board, store.Files("/"), version, keep)
        app.run()
    except KeyboardInterrupt:
        pass  # Ctrl-C: the same way out as any other end
    except Exception as error:
        board.safe()
        end = MEMORY if isinstance(error, MemoryError) else CRASH
        with heap_reserve.opened(CRASH_FILE, "w") as file:
            sys.print_exception(error, file)
        raise
    finally:
        board.safe()
        try:
            heap_reserve.release()
            if app is not None:
                app.end(end)
                app.log.flush(board.now_ms())
        finally:
            # A board that was heating, whose watchdog runs, or that met an error restarts to idle and reports it;
            # one that restarts again and again, or that a person ended at rest, goes to its REPL.
            if app is not None and (app.warmer.state in HEATING or board.watched or app.restarts(end)):
                board.reset()
            board.interruptible(True)
    print("bainboard: stopped, heater off; this is the plain REPL")
