"""A sheet of labels for each build, A4, black on white, to print, cut and stick."""

from __future__ import annotations

from html import escape

from bainwright.builds.catalogue import COIL_CUT_OUT_A
from bainwright.builds.parts import SUPPLY_V, Build
from bainwright.builds.supply import most_supply_w

Label = tuple[str, tuple[str, ...]]

WIDE_MM, HIGH_MM, COLUMNS = 92.0, 19.0, 2
LEFT_MM, TOP_MM, GAP_MM = 11.0, 19.0, 2.0
ID_LINE = "_" * 32


def labels(build: Build) -> list[Label]:
    """What is on each label: a title and at most three lines."""
    mat = build.mat
    safe = "Never bridge it. Same rating only."
    by_relay = "" if build.relayed else f" (K2: {COIL_CUT_OUT_A:g} A)"
    sheet: list[Label] = [
        ("NOT CERTIFIED", ("Hobby build. 24 V DC only.", "Unplug before hands go near the heater.")),
        (f"PS1  {SUPPLY_V:g} V DC  {build.supply_a:g} A",
         ("Isolated.", f"No supply of more than {most_supply_w(build):g} W.")),
        ("X0  24 V inlet", (f"{build.inlet_a:g} A. Red is plus.", "Only PS1 is plugged in here.")),
        (f"F1  {build.fuse_a:g} A  32 V DC", (safe,)),
        (f"F3  {build.guard_fuse_a:g} A", ("Guard relay's branch.", safe)),
        (f"TF2  {build.on_switch.marked_c:g} °C  {build.on_switch.rated_a:g} A",
         ("Thermal fuse on Q1's tab. Open: new Q1 first.", safe)),
        ("S1  hand switch", ("Off before hands go near the heater.", "Or pull the plug.")),
        (f"K1  guard relay  {build.relay_a:g} A 30 V DC", ("Coil 24 V, 1.4 kΩ or more",)),
        ("Q1  heat sink", ("24 V, and hot in a fault.", "Touch it only with S1 off.")),
        (f"K2  {build.relay_a:g} A 30 V DC{'' if build.relayed else ', if fitted'}", ("Coil 24 V, 1.4 kΩ or more",)),
        *[(f"{plug}  {what}{'' if build.relayed else ', if K2 is fitted'}", ("Not X0, not X1.",))
          for plug, what in (("X5", "cut-outs"), ("X6", "TF1"))],
        ("J1  heartbeat jumper", ("Fitted in use. Pulled: no heat.",)),
        (f"X2  {'water' if build.heats == 'water' else 'plate'} probe", ("3-pole. Its 16 digits:", ID_LINE)),
        ("X3  chocolate probe", ("4-pole. Its 16 digits:", ID_LINE)),
    ]  # fmt: skip
    if build.heats == "water":
        sheet.append(("BOWL", ("Clip it down. Empty, it floats and tips.",)))
        sheet.append(("S2  float, if fitted", ("Wet with the bowl lifted out.", "Move it by hand before each run.")))
    for ref in build.refs:
        if build.mat_fuse_a:
            sheet.append((f"F2{ref}  {build.mat_fuse_a:g} A  32 V DC", (safe,)))
        sheet += [
            (f"X1{ref}  heater  {mat.power_w:g} W",
             (f"{SUPPLY_V:g} V DC, {mat.ohm:.2f} Ω. No mains.", "S1 off first.")),
            (f"TCO1{ref}  {build.on_mat.opens_c:g} °C  {build.on_mat.rated_a:g} A{by_relay}",
             ("On the mat. Manual reset. Open twice: stop.", safe)),
            (f"TCO2{ref}  {build.on_vessel.opens_c:g} °C  {build.on_vessel.rated_a:g} A{by_relay}",
             (f"On the {build.vessel}. Manual reset. Open twice: stop.", safe)),
            (f"TF1{ref}  {build.fuse.marked_c:g} °C  {build.fuse.rated_a:g} A{by_relay}",
             ("Thermal fuse. Crimp, never solder.", safe)),
        ]  # fmt: skip
    sheet.append(("TESTED", ("Every six months:", "________   ________   ________   ________")))
    return sheet


def labels_svg(build: Build) -> str:
    """The sheet as SVG text."""
    rows = [
        '<svg xmlns="http://www.w3.org/2000/svg" width="210mm" height="297mm" viewBox="0 0 210 297" '
        'font-family="DejaVu Sans,sans-serif" font-size="3.6">',
        '  <rect width="210" height="297" fill="white"/>',
        f'  <text x="{LEFT_MM:g}" y="14" font-size="4.4">{escape(build.title)}: labels, A4, full size</text>',
    ]
    for place, (title, lines) in enumerate(labels(build)):
        x = LEFT_MM + (place % COLUMNS) * (WIDE_MM + GAP_MM)
        y = TOP_MM + (place // COLUMNS) * (HIGH_MM + GAP_MM)
        rows.append(f'  <g transform="translate({x:g} {y:g})">')
        rows.append(f'    <rect width="{WIDE_MM:g}" height="{HIGH_MM:g}" rx="2" fill="none" stroke="black" '
                    'stroke-width="0.4"/>')  # fmt: skip
        rows.append(f'    <text x="4" y="7" font-size="5" font-weight="bold">{escape(title)}</text>')
        rows += [f'    <text x="4" y="{11.8 + 4.6 * at:g}">{escape(line)}</text>' for at, line in enumerate(lines)]
        rows.append("  </g>")
    return "\n".join([*rows, "</svg>", ""])
