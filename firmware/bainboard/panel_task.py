"""The panel on the running board: what a press asks of the app, and lamps and buzzer set after it."""

from bainboard.service import reason
from bainboard.warmer import Warmer

PANEL_MS = 100  # chosen: a press is answered before the person doubts it

# What a button asks of the warmer where that is more than an act of the programme.
ACTS = {"pause": Warmer.pause}
STARTING = {"again": "again", "another": "another", "next": "next_bowl", "resume": "resume"}  # and beyond the warmer


class PanelTask:
    """Call `run` from `due_ms` on."""

    def __init__(self, app) -> None:
        self._app = app
        self._lit = app.warmer.values["panel"]  # are there lamps and a buzzer, and do they work?
        self.due_ms = app.board.now_ms()

    def run(self, now_ms: int, tick_ms: int) -> None:
        """Buttons in, lamps and buzzer out. The recessed button is on every board; `tick_ms`: the next tick."""
        app, front = self._app, self._app.panel_logic
        # With no panel the recessed button is looked at on the pass of a tick, which has just set the next one.
        self.due_ms = now_ms + PANEL_MS if app.warmer.values["panel"] else tick_ms
        app.standalone.forget_press(now_ms)
        for act in front.acts(now_ms, app.board.pressed(), app.warmer.state):
            why = self._done(act, now_ms)
            if why:
                front.refuse(why, now_ms)
                app.report("refused", [("act", act), ("why", why)], app.hold_ms(now_ms))
        if self._lit:
            try:
                self._show(now_ms)
            except Exception as error:
                app.do_without("lamps", error)
                self._lit = False
                front.darken()

    def _done(self, act: str, now_ms: int) -> str | None:
        """Do what a button asks: None, or why it is refused."""
        try:
            return self._act(act, now_ms)
        except Exception as error:
            if act == "pause" and not isinstance(error, MemoryError):
                raise  # as for a request: a pause that fails ends the run, and that turns the heat off
            return reason(error)

    def _act(self, act: str, now_ms: int) -> str | None:
        app = self._app
        if act == "clear":
            return self._clear(now_ms)
        if act == "lock":
            app.lock(not app.panel_logic.locked, now_ms)
            return None
        if act in STARTING:
            from bainboard import starting  # loaded for this, and dropped again: see heap_reserve

            return getattr(starting, STARTING[act])(app, now_ms)
        if act in ACTS:
            return ACTS[act](app.warmer, now_ms)
        return app.warmer.act(act, now_ms)

    def _clear(self, now_ms: int) -> str | None:
        """The recessed button: the latch, and what was counted towards one."""
        why = self._app.warmer.clear(now_ms)
        if why is None:
            self._app.power.cleared()
        return why

    def _show(self, now_ms: int) -> None:
        """Set lamps and buzzer for this moment."""
        app, front, w = self._app, self._app.panel_logic, self._app.warmer
        p = w.programme
        calls = p.calls if p and not app.water_low else app.asked
        front.show(now_ms, w.shown_state, p.place if p else None, w.fault, calls, w.sure)
        app.board.show(front.lamps, front.buzzer)
