"""When to report that the chocolate left its window or came back: with a dead band and a minimum time.

The board reports every edge, and a noisy probe at the edge crosses it dozens of times an evening. The log has them all.
A person needs to know once.
"""

from __future__ import annotations

from bainboard import stages
from bainwright.display.scene import ABOVE, BELOW, IN, place_of
from bainwright.files.score import Window
from bainwright.link.messages import Status

DEAD_BAND_C = 0.1  # chosen: a probe's noise; outside by less than this is still at the edge
LEAST_S = 60.0  # chosen: shorter stays are not worth a message

EDGES = ("warm", stages.BELOW, stages.INSIDE, stages.ABOVE)  # the board's own events: the first entry, then each edge
NEWS = {
    IN: "the chocolate is in its window",
    BELOW: "the chocolate is below its window",
    ABOVE: "the chocolate is above its window",
}


class WindowNews:
    """Follows one bowl. The chocolate's place changes once it was in the new one for `LEAST_S`."""

    def __init__(self) -> None:
        self._place = ""
        self._candidate = ""
        self._since_s = 0.0
        self._stage = ""

    def see(self, status: Status, window: Window) -> str:
        """Take in a status line; returns the news, or an empty text.

        Parameters
        ----------
        status : Status
            The line.
        window : Window
            The chocolate's window.
        """
        group = "tempered" if status.stage in stages.TEMPERED else status.stage
        if group != self._stage:  # another window, or the way to it
            self._stage, self._place, self._candidate = group, "", ""
        if status.bowl is None or status.stage not in stages.EDGED:
            return ""
        place, t_s = self._place_with_dead_band(status.bowl / 1000, window), status.t / 1000
        if place != self._candidate:
            self._candidate, self._since_s = place, t_s
        if place == self._place or t_s - self._since_s < LEAST_S:
            return ""
        came_up_to_it = self._place == "" and place == BELOW  # a warm-up, which the screen shows anyway
        self._place = place
        return "" if came_up_to_it else NEWS[place]

    def _place_with_dead_band(self, bowl_c: float, window: Window) -> str:
        """The place; from inside, only a step of `DEAD_BAND_C` over the edge leads out."""
        place = place_of(bowl_c, window)
        inside = self._candidate == IN
        if inside and window.low_c - DEAD_BAND_C <= bowl_c <= window.high_c + DEAD_BAND_C:
            return IN
        return place
