"""The three builds, one table each. Ratings are chosen here; `rules` says whether they hold together.

Data-sheet figures of parts are from memory: look them up for the part you buy.
"""

from __future__ import annotations

from dataclasses import replace

from bainwright.builds.parts import (
    ALUMINIUM_J_PER_KGK,
    Build,
    CutOut,
    HeatSink,
    Mat,
    Metal,
    ThermalFuse,
    Transistor,
    area_m2,
)
from bainwright.physics.materials import STEEL_J_PER_KGK

# IRLB3034, table of electrical characteristics, from memory: 40 V, threshold 1.0 to 2.5 V, 286 S at 195 A, gate to
# drain 54 nC, and half as much again for the worst part.
SWITCH = Transistor("IRLB3034", drain_v=40.0, threshold_v=2.5, switched_nc=81.0, siemens=286.0, at_a=195.0)
# A finned heat sink of aluminium, 9 °C/W and 30 g (data sheets, from memory); what lies before it, and
# the still air of the box, are chosen.
SINK = HeatSink(k_per_w=12.0, kg=0.03)
# The thermal fuse on Q1's tab: 110 °C as data sheets give it, from memory. Only the guard relay's branch runs in it.
ON_SWITCH = ThermalFuse(110.0, 100.0, 112.0, 85.0, 2.0)

COIL_CUT_OUT_A = 2.0  # chosen: what a cut-out or thermal fuse in the supply of a relay's coil must switch at 24 V DC

# Density and conduction from handbooks, from memory: 18/8 steel and aluminium at room temperature.
STEEL_2MM = Metal("steel", 0.002, 7900.0, STEEL_J_PER_KGK, 16.0)
STEEL_3MM = Metal("steel", 0.003, 7900.0, STEEL_J_PER_KGK, 16.0)
ALUMINIUM_12MM = Metal("aluminium", 0.012, 2700.0, ALUMINIUM_J_PER_KGK, 200.0)

MAT = Build(
    name="mat",
    made_of="mat under an insulated pan of water",
    heats="water",
    vessel="pan",
    mat=Mat(60.0, (0.20,), 0.75),
    mat_count=1,
    base=STEEL_2MM,
    base_sides_m=(0.24,),
    wall_m=0.085,
    water_l=1.5,
    bowl_kg=0.4,
    chocolate_kg=1.2,
    clip_kg=0.6,
    feet_m=0.03,
    bowl_offset_c=1.3,
    lag_s=40.0,
    hard_limit_c=56.0,
    supply_a=3.0,
    supply_off_v=32.4,
    fuse_a=4.0,
    guard_fuse_a=0.5,
    mat_fuse_a=None,
    wire_mm2=0.75,
    run_m=1.5,
    switch=SWITCH,
    sink=SINK,
    on_switch=ON_SWITCH,
    relay_a=8.0,
    coil_ohm=1400.0,
    pull_in_v=18.0,
    inlet_a=5.0,
    plug_a=5.0,
    hand_switch_a=5.0,
    contact_ohm=0.12,
    on_mat=CutOut(80.0, 5.0, 5.0),
    on_vessel=CutOut(60.0, 3.0, 5.0),
    fuse=ThermalFuse(110.0, 100.0, 112.0, 85.0, 5.0),
)

POT = Build(
    name="pot",
    made_of="heated base under a pot of water",
    heats="water",
    vessel="pot",
    mat=Mat(150.0, (0.24,), 1.5),
    mat_count=1,
    base=STEEL_3MM,
    base_sides_m=(0.28,),
    wall_m=0.1,
    water_l=2.5,
    bowl_kg=0.6,
    chocolate_kg=2.0,
    clip_kg=1.0,
    feet_m=0.03,
    bowl_offset_c=1.2,
    lag_s=49.0,
    hard_limit_c=56.0,
    supply_a=8.33,
    supply_off_v=32.4,
    fuse_a=10.0,
    guard_fuse_a=0.5,
    mat_fuse_a=None,
    wire_mm2=1.5,
    run_m=1.5,
    switch=SWITCH,
    sink=SINK,
    on_switch=ON_SWITCH,
    relay_a=16.0,
    coil_ohm=1400.0,
    pull_in_v=18.0,
    inlet_a=15.0,
    plug_a=15.0,
    hand_switch_a=15.0,
    contact_ohm=0.13,
    on_mat=CutOut(95.0, 5.0, COIL_CUT_OUT_A),
    on_vessel=CutOut(60.0, 3.0, COIL_CUT_OUT_A),
    fuse=ThermalFuse(128.0, 118.0, 130.0, 103.0, COIL_CUT_OUT_A),
    relayed=True,
)

PLATE_SIDES_M = (0.30, 0.30)

PLATE = Build(
    name="plate",
    made_of="dry plate, two mats under 12 mm of aluminium",
    heats="plate",
    vessel="plate",
    mat=Mat(100.0, (0.13, 0.28), 1.5),
    mat_count=2,
    base=ALUMINIUM_12MM,
    base_sides_m=PLATE_SIDES_M,
    wall_m=None,
    water_l=round(ALUMINIUM_12MM.stores_l(area_m2(PLATE_SIDES_M)), 2),  # the plate's heat, as water
    bowl_kg=0.7,
    chocolate_kg=2.0,
    clip_kg=None,
    feet_m=0.03,
    bowl_offset_c=2.4,
    lag_s=20.0,
    hard_limit_c=56.0,
    supply_a=10.0,
    supply_off_v=32.4,
    fuse_a=15.0,
    guard_fuse_a=0.5,
    mat_fuse_a=7.5,
    wire_mm2=1.5,
    run_m=1.5,
    switch=SWITCH,
    sink=SINK,
    on_switch=ON_SWITCH,
    relay_a=16.0,
    coil_ohm=1400.0,
    pull_in_v=18.0,
    inlet_a=15.0,
    plug_a=15.0,
    hand_switch_a=15.0,
    contact_ohm=0.10,
    on_mat=CutOut(80.0, 5.0, COIL_CUT_OUT_A),
    on_vessel=CutOut(60.0, 3.0, COIL_CUT_OUT_A),
    fuse=ThermalFuse(110.0, 100.0, 112.0, 85.0, COIL_CUT_OUT_A),
    relayed=True,
)

BUILDS = (MAT, POT, PLATE)
BY_NAME = {build.name: build for build in BUILDS}

# The mat for those whose cut-outs and thermal fuse may not switch its current: they carry two relays' coils.
MAT_BY_RELAY = replace(MAT, name="mat by relay", relayed=True, on_mat=replace(MAT.on_mat, rated_a=COIL_CUT_OUT_A),
                       on_vessel=replace(MAT.on_vessel, rated_a=COIL_CUT_OUT_A),
                       fuse=replace(MAT.fuse, rated_a=COIL_CUT_OUT_A))
