"""The bowl: metal, and chocolate in shells from the wall to the middle. Pure."""

from math import pi

from .air import WATER_EMISSIVITY, dry_w_per_m2

CHOCOLATE_J_PER_KGK = 1600.0  # Beckett, constants table: 1590 to 1670
CHOCOLATE_KG_PER_M3 = 1250.0  # Beckett: 1300 solid, 1200 at 40 °C
CHOCOLATE_W_PER_MK = 0.27  # Beckett
METAL_J_PER_KGK = 600.0  # between steel's 500 and glass's 800 (from memory)
LEAST_KG = 0.02  # less is no bowl


class Bowl:
    """Metal in touch with a bath, and shells of chocolate; the outermost touches the metal.

    Attributes
    ----------
    away : bool
        It is on the bench.
    probe_shell : int
        Where the chocolate probe is.
    """

    def __init__(self, chocolate_kg: float, metal_kg: float, start_c: float, outer_w_per_m2k: float,
                 shells: int, stirred: float) -> None:
        self.chocolate_kg = chocolate_kg
        self.metal_j_per_k = metal_kg * METAL_J_PER_KGK
        self.outer_w_per_m2k = outer_w_per_m2k
        self.stirred = stirred  # 1: left alone; more: by hand
        self.away = False
        self.metal_c = start_c
        self.shells_c = [start_c] * shells
        self.probe_shell = shells - 1
        self._size()

    def _size(self) -> None:
        radius_m = (3.0 * self.chocolate_kg / (2.0 * pi * CHOCOLATE_KG_PER_M3)) ** (1.0 / 3.0)
        shells = len(self.shells_c)
        self.wetted_m2 = 2.0 * pi * radius_m * radius_m
        self.top_m2 = 1.3 * pi * radius_m * radius_m
        self.size_m = radius_m
        self.shell_j_per_k = self.chocolate_kg * CHOCOLATE_J_PER_KGK / shells
        step_m = radius_m / (2.0 * shells)
        self.inner_w_per_k = self.stirred * CHOCOLATE_W_PER_MK * self.wetted_m2 / step_m

    def stored_j(self) -> float:
        """Heat over 0 °C."""
        return self.metal_j_per_k * self.metal_c + self.shell_j_per_k * sum(self.shells_c)

    def load_j_per_k(self) -> float:
        """Heat that lifts it by 1 K."""
        return self.metal_j_per_k + self.shell_j_per_k * len(self.shells_c)

    def pour(self, kg: float, temp_c: float) -> float:
        """Chocolate stirred in; the heat it brings."""
        before_j = self.stored_j()
        kg = max(kg, LEAST_KG - self.chocolate_kg)
        share = kg / (self.chocolate_kg + kg) if kg > 0.0 else 0.0
        mean_c = sum(self.shells_c) / len(self.shells_c)
        self.shells_c = [mean_c + share * (temp_c - mean_c)] * len(self.shells_c)
        self.chocolate_kg += kg
        self._size()
        return self.stored_j() - before_j

    def stir(self) -> None:
        """One temperature throughout."""
        mean_c = sum(self.shells_c) / len(self.shells_c)
        self.shells_c = [mean_c] * len(self.shells_c)

    def step(self, dt_s: float, bath_c: float, room_c: float, air_m_per_s: float) -> tuple[float, float]:
        """A step beside a bath: (heat taken from it, heat lost to the room), W."""
        shells_c = self.shells_c
        top_w = self.top_m2 * dry_w_per_m2(shells_c[-1], room_c, self.size_m, air_m_per_s, WATER_EMISSIVITY)
        lost_w = top_w
        if self.away:
            taken_w = 0.0
            bench_w = self.wetted_m2 * dry_w_per_m2(self.metal_c, room_c, self.size_m, air_m_per_s, 0.2)
            lost_w += bench_w
            metal_w = -bench_w
        else:
            taken_w = self.outer_w_per_m2k * self.wetted_m2 * (bath_c - self.metal_c)
            metal_w = taken_w
        inner = self.inner_w_per_k
        flow_w = 2.0 * inner * (self.metal_c - shells_c[0])
        self.metal_c += (metal_w - flow_w) * dt_s / self.metal_j_per_k
        last = len(shells_c) - 1
        for at in range(last):
            onward_w = inner * (shells_c[at] - shells_c[at + 1])
            shells_c[at] += (flow_w - onward_w) * dt_s / self.shell_j_per_k
            flow_w = onward_w
        shells_c[last] += (flow_w - top_w) * dt_s / self.shell_j_per_k
        return taken_w, lost_w

    @property
    def probe_c(self) -> float:
        """At the chocolate probe."""
        return self.shells_c[self.probe_shell]

    @property
    def mean_c(self) -> float:
        """Of the chocolate."""
        return sum(self.shells_c) / len(self.shells_c)
