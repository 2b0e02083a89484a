"""What people do to a warmer, at its buttons and with their hands, in the search. Each takes two figures, 0 to 1."""

from __future__ import annotations

import random
from collections.abc import Callable
from typing import Any

from .genes import Genes, Rhythm

STAGE_ACTS = ("confirm", "test", "thicker", "thinner", "rest", "melted", "confirm", "confirm")
NEVER_S = 1e12
BRIM = 1.1  # so much of the water at the start is the most there is room for


def between(share: float, low: float, high: float) -> float:
    """A figure on a straight scale."""
    return low + share * (high - low)


class Hands:
    """The schedule of a case, second by second; `play` is the case that is being played.

    An act may leave something for later: the end of a pause, the bowl set back.
    """

    def __init__(self, play: Any, genes: Genes, gentle: bool) -> None:
        self.play = play
        self.gentle = gentle  # only what any evening sees
        self._rng = random.Random(f"hands {genes.strike_s}")
        self._due: list[tuple[float, int, Callable[[], None]]] = []
        self._count = 0
        self.next_s = NEVER_S
        for rhythm in genes.rhythms:
            for at in range(rhythm.count):
                t_s = rhythm.first_s + at * rhythm.every_s
                if t_s < genes.end_s:
                    self.later(t_s, self._act(rhythm))

    def later(self, t_s: float, act: Callable[[], None]) -> None:
        """Do it at this time."""
        self._count += 1
        self._due.append((t_s, self._count, act))
        self._due.sort(key=lambda due: due[:2])
        self.next_s = self._due[0][0]

    def run(self, t_s: float) -> None:
        """Everything that is due."""
        while self._due and self._due[0][0] <= t_s:
            self._due.pop(0)[2]()
        self.next_s = self._due[0][0] if self._due else NEVER_S

    def _act(self, rhythm: Rhythm) -> Callable[[], None]:
        method: Callable[[float, float], None] = getattr(self, rhythm.act)
        return lambda: method(rhythm.a, rhythm.b)

    # -- at the buttons ----------------------------------------------------------------------------------------------

    def pause(self, a: float, b: float) -> None:
        """Hands in the water for 5 s to 5 min."""
        w, play = self.play.warmer, self.play
        if w.pause(play.now_ms) is None:
            self.later(play.t_s + between(a * a, 5.0, 300.0), lambda: play.warmer.resume(play.now_ms))

    def stage(self, a: float, b: float) -> None:
        """An answer, a test, a nudge, another stage."""
        self.play.warmer.act(STAGE_ACTS[min(int(a * len(STAGE_ACTS)), len(STAGE_ACTS) - 1)], self.play.now_ms)

    def confirm(self, a: float, b: float) -> None:
        """Yes."""
        self.play.warmer.act("confirm", self.play.now_ms)

    def announce(self, a: float, b: float) -> None:
        """A refill that may never come."""
        self.play.warmer.act("announce", self.play.now_ms, in_ms=int(600_000 * a), leads=b < 0.5)

    def stop_start(self, a: float, b: float) -> None:
        """Stopped, and started again; a warmer at rest is started."""
        play = self.play
        play.warmer.stop()
        self.later(play.t_s + between(a, 2.0, 600.0), play.start)

    def reboot(self, a: float, b: float) -> None:
        """The supply fails; a person starts again."""
        play = self.play
        play.reboot()
        self.later(play.t_s + between(a, 5.0, 600.0), play.start)

    def gains(self, a: float, b: float) -> None:
        """Gains come from the PC: safe ones, or this plant's own, or another's."""
        play = self.play
        wide = (0.85, 1.15) if self.gentle else (0.3, 3.0)
        share = 0.0 if a < 0.3 else between(b, *wide)
        play.send_gains({"gains.loss_w_per_k": round(share * play.learnt_loss_w_per_k, 3)})

    # -- with the hands ----------------------------------------------------------------------------------------------

    def bowl_off(self, a: float, b: float) -> None:
        """On the bench, and said; back after up to a quarter of an hour."""
        play = self.play
        play.rig.plant.bowl.away = True
        play.warmer.act("bowl_off", play.now_ms)

        def back() -> None:
            play.rig.plant.bowl.away = False
            play.warmer.act("bowl_on", play.now_ms)

        self.later(play.t_s + between(a, 20.0, 900.0), back)

    def bowl_lift(self, a: float, b: float) -> None:
        """On the bench, and nobody says so."""
        play = self.play
        play.rig.plant.bowl.away = True

        def back() -> None:
            play.rig.plant.bowl.away = False

        self.later(play.t_s + between(a, 20.0, 600.0), back)

    def refill(self, a: float, b: float) -> None:
        """Chocolate poured in, at 24 to 40 °C, as much as the bowl takes."""
        play, plant = self.play, self.play.rig.plant
        kg = min(between(a, 0.05, 0.3) * play.full_kg, play.full_kg - plant.bowl.chocolate_kg)
        if kg > 0.0:
            plant.pour_chocolate(kg, between(b, 24.0, 33.0 if self.gentle else 40.0))

    def dip(self, a: float, b: float) -> None:
        """Chocolate taken out."""
        plant = self.play.rig.plant
        if plant.bowl.chocolate_kg > 0.2:
            plant.pour_chocolate(-between(a, 0.02, 0.15) * plant.bowl.chocolate_kg, plant.bowl.mean_c)

    def stir(self, a: float, b: float) -> None:
        """One temperature in the bowl."""
        self.play.rig.plant.bowl.stir()

    def top_up(self, a: float, b: float) -> None:
        """Water from the tap or the kettle; what is too much is scooped out first."""
        play = self.play
        litres = between(a, 0.02, 0.2 if self.gentle else 0.4) * play.full_l
        play.rig.plant.scoop(play.rig.plant.water_l + litres - BRIM * play.full_l)
        play.rig.plant.pour_water(litres, between(b, 12.0, 42.0 if self.gentle else 60.0))
        play.poured()

    def lid(self, a: float, b: float) -> None:
        """A lid on for a while."""
        plant = self.play.rig.plant
        plant.lid = True

        def off() -> None:
            plant.lid = False

        self.later(self.play.t_s + between(a, 60.0, 3600.0), off)

    def draught(self, a: float, b: float) -> None:
        """A door, a window."""
        plant = self.play.rig.plant
        plant.air_m_per_s = between(b, 0.1, 0.8 if self.gentle else 1.5)

        def over() -> None:
            plant.air_m_per_s = 0.0

        self.later(self.play.t_s + between(a, 60.0, 900.0), over)
