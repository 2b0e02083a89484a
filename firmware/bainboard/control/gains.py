"""What the cascade needs to know of a warmer."""


class Gains:
    """Plain attributes; `rules` works them out. Its own module, because it stays where `rules` is dropped."""

    water_kp: float
    water_ti_s: float
    water_td_s: float
    water_weight: float
    bowl_kp: float
    bowl_ti_s: float
    bowl_td_s: float
    bowl_weight: float
    loss_w_per_k: float
    ceiling_margin_c: float
    slew_c_per_min: float
    heater_w: float
    water_j_per_k: float
    bowl_w_per_k: float
    bowl_tau_s: float
    wall_share: float
