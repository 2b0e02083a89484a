"""Does the heater give its watts?"""

from __future__ import annotations

from bainwright.files.rig import Rig
from bainwright.link.messages import Status
from bainwright.physics import air, heating
from bainwright.physics.chocolate_heat import HEAT_PROPERTIES
from bainwright.physics.geometry import body_of
from bainwright.physics.heating import Surroundings
from bainwright.physics.materials import CP_LIQUID

LEAST_RISE_K = 4.0  # chosen: judged once the heat, if it came, would warm the bath by so much
LEAST_S = 600.0  # chosen: and not before ten minutes, in which a slow element warms up
WEAK = 0.6  # chosen: every doubt counted for the heater, it gave less of its watts than this
MORE_STORE, MORE_LOSS = 1.25, 1.5  # chosen: how far litres, kilograms and losses may be over the rig file's
COLDER_ROOM_K = 5.0  # chosen: how much colder than given the room may be
POURED_K = 0.4  # chosen: in a minute a reading changes by so much only when something is put in or out
REST_S = 300.0  # chosen: after so long without heat, the losses say more than the heater
LONGEST_S = 5.0  # chosen: beyond it, nothing is known about the time since the last line


class HeaterCheck:
    """Adds up the most that bath, bowl and room can have taken, and compares it with the heat that was switched on.

    Parameters
    ----------
    rig : Rig
        The warmer.
    kind : str
        The kind of chocolate.
    """

    def __init__(self, rig: Rig, kind: str) -> None:
        self.reported = False
        self._rig, self._kind, self._body = rig, kind, body_of(rig)
        self._around = Surroundings(float(rig.settings["room_c"]) - COLDER_ROOM_K, 0.5,
                                    float(rig.settings["chocolate_kg"]), ring_cover=0.0)
        self._last_s = 0.0
        self._restart()

    def _restart(self) -> None:
        self._start: tuple[float, float, float] | None = None  # s, water and bowl °C
        self._minute: tuple[float, float, float] | None = None
        self._given_j = self._lost_j = self._rest_s = 0.0

    def event(self, name: str) -> None:
        """An event: a bowl that comes or goes takes heat along."""
        if name in ("bowl_off", "bowl_on", "stage", "changed", "refill", "paused", "boot"):
            self._restart()

    def see(self, status: Status) -> str:
        """Take in a status line; returns the warning once, or an empty text."""
        now_s, span_s = status.t / 1000, status.t / 1000 - self._last_s
        self._last_s = now_s
        if status.water is None or status.bowl is None or status.est or not 0.0 <= span_s <= LONGEST_S:
            self._restart()
            return ""
        now = (now_s, status.water / 1000, status.bowl / 1000)
        self._rest_s = 0.0 if status.duty else self._rest_s + span_s
        if self._start is None or self._rest_s > REST_S or self._disturbed(now):
            self._restart()
            self._start = self._minute = now
        self._given_j += status.duty / 10_000 * float(self._rig.settings["heater_w"]) * span_s
        self._lost_j += self._loss_w(now[1], now[2]) * span_s
        return self._judge(now)

    def _disturbed(self, now: tuple[float, float, float]) -> bool:
        """Whether a reading fell or jumped faster in the last minute than heat explains."""
        if self._minute is None or now[0] - self._minute[0] < 60.0:
            return False
        (_, water_c, bowl_c), self._minute = self._minute, now
        return water_c - now[1] > POURED_K or abs(now[2] - bowl_c) > 2.0 * POURED_K

    def _loss_w(self, water_c: float, bowl_c: float) -> float:
        body, around = self._body, self._around
        vapour_w = heating.vapour_kg_per_s(body, water_c, around) * air.latent_j_per_kg(water_c)
        lost_w = heating.pot_w_per_k(body, water_c, around) * max(0.0, water_c - around.room_c) + vapour_w
        lost_w += heating.top_w_per_k(body, bowl_c, around) * max(0.0, bowl_c - around.room_c)
        return MORE_LOSS * lost_w

    def _judge(self, now: tuple[float, float, float]) -> str:
        assert self._start is not None
        bath_j_per_k, start = heating.bath_j_per_k(self._body), self._start
        if self.reported or now[0] - start[0] < LEAST_S or self._given_j < LEAST_RISE_K * bath_j_per_k:
            return ""
        share = self._taken_j(now, start) / self._given_j
        if not share < WEAK:
            return ""
        self.reported = True
        heater_w = float(self._rig.settings["heater_w"])
        return (f"the heater gives at most about {max(1.0, share * heater_w):.0f} W of its {heater_w:g} W: look at its "
                "plug, its fuse and its wires, then at watts and litres in the rig file")

    def _taken_j(self, now: tuple[float, float, float], start: tuple[float, float, float]) -> float:
        """The most heat that can have gone into bath, element and bowl, and to the room."""
        body, rise_k = self._body, max(0.0, now[1] - start[1])
        bath_j = (heating.bath_j_per_k(body) + body.element_j_per_k) * rise_k
        over_k = float(self._rig.settings["heater_w"]) / body.element_w_per_k  # of a hot element over its bath
        # Where no probe is, chocolate may be as warm as the water already.
        bowl_c, stuff = max(now[1], now[2]), HEAT_PROPERTIES[self._kind]
        melted_j_per_kg = stuff.molten_share(bowl_c, start[2]) * stuff.latent.value if bowl_c > start[2] else 0.0
        bowl_j = body.wall_j_per_k * max(0.0, bowl_c - start[2])
        bowl_j += self._around.chocolate_kg * (CP_LIQUID.value * max(0.0, bowl_c - start[2]) + melted_j_per_kg)
        return MORE_STORE * (bath_j + bowl_j) + body.element_j_per_k * over_k * WEAK + self._lost_j
