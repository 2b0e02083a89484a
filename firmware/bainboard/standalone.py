"""What the board remembers at rest between two presses, and while the probes are calibrated."""

AGAIN_MS = 60 * 1000  # chosen: time to look at the water and the probes


class Standalone:
    """The first press on yes at rest, and until when the heat is locked out."""

    def __init__(self, app) -> None:
        self._app = app
        self._pressed_ms: int | None = None  # when yes was first pressed at rest
        self._locked_until_ms = 0  # no hold starts before, by message or by button

    def lock_out(self, until_ms: int) -> None:
        """No hold starts before then: the probes are being calibrated."""
        self._locked_until_ms = until_ms

    def locked_out(self, now_ms: int) -> bool:
        """Is the heat locked out, the probes in somebody's hand?"""
        return now_ms < self._locked_until_ms

    @property
    def prompt(self) -> str:
        """What a board at rest asks: to resume after a power cut; or, after the first press, to look at the water."""
        if self._app.power.offer is not None and self._app.power.asked:
            return "go_on"
        return "look" if self._pressed_ms is not None else ""

    def is_second_press(self, now_ms: int) -> bool:
        """Take a press on yes at rest: does it follow another one that asked to look at water and probes?"""
        second = self._pressed_ms is not None and now_ms - self._pressed_ms <= AGAIN_MS
        self._pressed_ms = None if second else now_ms
        return second

    def forget_press(self, now_ms: int) -> None:
        """Forget a first press that no second one followed."""
        if self._pressed_ms is not None and now_ms - self._pressed_ms > AGAIN_MS:
            self._pressed_ms = None
