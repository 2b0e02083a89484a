"""A build as a rig file: one to copy for the warmer as built, and its simulated twin."""

from __future__ import annotations

from bainwright.builds.parts import Build
from bainwright.builds.vessels import disc_m

# What the built-in plant takes for water and for a plate, beside the parts' own sizes; all chosen.
PLANTS: dict[str, dict[str, str]] = {
    "water": {"insulation_mm": "10.0", "ring_cover": "0.9"},
    "plate": {
        "bath": '"plate"',
        "water_film_w_per_m2k": "180.0",  # 0.15 mm of air under the bowl
        "base_w_per_m2k": "3.0",
        "water_probe_lag_s": "12.0",
    },
}


def twin_name(build: Build) -> str:
    """The name that `--virtual` takes."""
    return f"{build.name}24"


def _settings(build: Build, name: str) -> list[str]:
    stored = "the plate's metal as litres of water" if build.heats == "plate" else "to the mark on the wall"
    return [
        f'name = "{name}"',
        f"heater_w = {build.heater_w:g}  # volts times amperes at the heater, warm",
        f"heater_lag_s = {build.lag_s:g}",
        'switch = "dc"',
        "period_s = 1",
        f"water_l = {build.water_l:g}  # {stored}",
        f"bowl_kg = {build.bowl_kg:g}",
        f"chocolate_kg = {build.chocolate_kg:g}  # the bowl when full",
        f"hard_limit_c = {build.hard_limit_c:g}  # under the earliest opening of the vessel's cut-out",
        "guard = true",
        "panel = true",
    ]


def _plant(build: Build) -> list[str]:
    """What the plan and the simulated warmer take for the vessel."""
    return ["[plant]", f"pot_diameter_m = {disc_m(build):.3g}",
            *[f"{name} = {value}" for name, value in PLANTS[build.heats].items()]]


def rig_text(build: Build) -> str:
    """The rig file of the guide's own figures."""
    return "\n".join([
        f"# {build.title}, at 24 V: the guide's figures. For your own: bain rig new my-rig.toml --build {build.name}",
        *_settings(build, f"{build.name} 24 V"),
        'board = "pico"  # pico2 for a board with an RP2350',
        f"bowl_offset_c = {build.bowl_offset_c:g}  # without a chocolate probe; bain calibrate measures it",
        "",
        "[probe.water]",
        'kind = "onewire"',
        'rom = ""  # its 16 hex digits; must be filled in when two probes share the bus',
        "",
        *_plant(build),
        "",
        "# Take the leading marks off once the chocolate probe is fitted, and fill in both ids.",
        "# [probe.bowl]",
        '# kind = "onewire"',
        '# rom = ""',
        "",
    ])


def twin_text(build: Build) -> str:
    """The same warmer simulated, with a probe in the chocolate and what the simulation needs beyond the settings."""
    probes = [line for place in ("water", "bowl") for line in (f"[probe.{place}]", 'kind = "onewire"', "")]
    return "\n".join([
        f"# {build.title}, at 24 V: the simulated twin of the build of this name.",
        *_settings(build, twin_name(build)),
        f"bowl_offset_c = {build.bowl_offset_c:g}",
        "",
        *probes,
        *_plant(build),
        "",
    ])
