"""What follows from each simulated failure of the power stage: which fuse blows, which part is loaded, who notices."""

from __future__ import annotations

from collections.abc import Iterator

from power_circuit import ALL, GUARD, INLET, ZERO_WIRES, PowerPart, parts
from power_faults import BYPASS, OVER_VOLTAGE, STATES, TOUCHES_24V, TOUCHES_HEAT, TOUCHES_X6, read
from tables import table

from bainwright.builds import overload, switch_heat
from bainwright.builds.parts import Build

Row = dict[str, str]

WARM_SHARE = 0.01  # of the heater's power; less than this warms nothing
FULL_SHARE = 0.9  # of it; less than this is slower than it should be
STRONG = 1.75  # times the stated power: from there the firmware warns with number 22 (hardware/SAFETY.md)

BEFORE_K1 = ("PS1", "lead to F1", "lead to S1", "lead to K1")  # a short there stays, whatever the relays do
NO_HEAT = "start: number 11; in a hold number 3"


def carried_a(build: Build, row: Row, part: PowerPart) -> float:
    """What a part carries for minutes in this failure, A: more than this the supply does not give, or a fuse opens."""
    if part.path == INLET:
        return min(float(row["supply_a"]), overload.limit_a(build))
    if part.path == ALL:
        return min(float(row["all_a"]), overload.all_a(build))
    if part.path == GUARD:
        return min(float(row["guard_a"]), overload.guard_a(build))
    return min(float(row["mat_a"]), overload.mat_a(build))


def rated(build: Build) -> list[PowerPart]:
    """The parts with a rating that a failure could exceed."""
    return [part for part in parts(build) if part.rated_a < float("inf")]


def tightest(build: Build, row: Row) -> tuple[PowerPart, float]:
    """The part that is loaded most for its rating, and the current in it, A."""
    part = max(rated(build), key=lambda each: carried_a(build, row, each) / each.rated_a)
    return part, carried_a(build, row, part)


def over_rating(build: Build) -> list[str]:
    """In words, each failure that loads a part over its rating; none for a sound build."""
    return [f"{row['part']} {row['fault']}: {part.ref} carries {carried_a(build, row, part):.1f} A, "
            f"rated {part.rated_a:g} A"
            for row in rows_of(build) for part in rated(build) if not carried_a(build, row, part) <= part.rated_a]


def rows_of(build: Build) -> list[Row]:
    """The stored results of one build."""
    return [row for row in read() if row["build"] == build.name]


def blown(build: Build, row: Row) -> Iterator[str]:
    """The fuses that surely open, within ten minutes; F3 within half an hour."""
    limit_a = overload.limit_a(build)
    fuses = [("F1", "all_a", overload.BLOWS * build.fuse_a),
             ("F3", "guard_a", overload.BLOWS_GLASS * build.guard_fuse_a)]
    if build.mat_fuse_a:
        fuses.append((f"F2{row['part'][-1]}", "mat_a", overload.BLOWS * build.mat_fuse_a))
    for name, amps, blows_a in fuses:
        if min(float(row[amps]), limit_a) >= blows_a:
            yield name


def noticed(build: Build, row: Row) -> str:
    """Who notices it, from what the simulation gives."""
    off, tripped, idle, heats = (float(row[f"{state}_w"]) > WARM_SHARE * build.heater_w for state in STATES)
    if row["part"] == "-":
        return "-"
    if off:
        return "**both cut-outs, thermal fuse**"
    if row["fault"] == OVER_VOLTAGE:
        return (f"PS1 shuts itself off at {build.supply_off_v:g} V; below it number 22 may warn, and TCO1 and TF1 "
                "bound the mat")
    if float(row["heats_w"]) > build.heater_w / FULL_SHARE:
        return _too_hot(build, row)
    if float(row["supply_a"]) > overload.limit_a(build) or any(blown(build, row)):
        return _short(build, row)
    if tripped:
        return "self-test: number 9"
    if idle:
        return _conducts(build, row)
    if not heats:
        return NO_HEAT
    if float(row["heats_w"]) < FULL_SHARE * build.heater_w:
        return "it warms slowly: first power-up's table"
    return _silent(build, row)


def _conducts(build: Build, row: Row) -> str:
    """Q1 lets current through that nobody asked for; where it takes the heat itself, its thermal fuse opens too."""
    said = ["self-test: number 10; in a hold number 4, and K1 opens"]
    if "drain to gate" in row["fault"]:
        said.append("the board may die of 24 V at its pin: then the gate opens K1")
    taken_w = float(row["q1_w"])
    if taken_w > switch_heat.unfelt_w(build):
        after_s, tab_c = switch_heat.opening(build, taken_w)
        said.append(f"half on, Q1 takes {taken_w:.0f} W: TF2 opens {_relays(build)} within {_time(after_s)}, the tab "
                    f"at {tab_c:.0f} °C")
    return "; ".join(said)


def _relays(build: Build) -> str:
    """Whose coils F3 and TF2 feed."""
    return "K1 and K2" if build.relayed else "K1"


def _time(after_s: float) -> str:
    return f"{after_s:.0f} s" if after_s < 120.0 else f"{after_s / 60.0:.0f} min"


def _too_hot(build: Build, row: Row) -> str:
    said = [f"{name} blows" for name in blown(build, row)]
    if float(row["supply_a"]) > overload.limit_a(build):
        said.append(f"PS1 limits at {overload.limit_a(build):.3g} A")
    if float(row["heats_w"]) >= STRONG * build.heater_w:
        said.append("number 22 warns")
    said.append("TCO1 or TF1, if it lies on the part that heats")
    return "; ".join(said)


def _short(build: Build, row: Row) -> str:
    fuses = list(blown(build, row))
    if row["fault"] == TOUCHES_HEAT:  # with K1 closed its contact takes most of what F3 would
        until = ("cut-outs and TF1 still open their relays" if row["part"].startswith("feed") else
                 "the relay is fed by its own contact")
        return (f"the next self-test: all heat comes by F3 as the guard opens, and it blows; {NO_HEAT}. Until then "
                f"{until}. A wet touch: **only a meter between the plugs**")
    if "F3" in fuses:
        return f"F3 blows and opens {_relays(build)}; {NO_HEAT}"
    if fuses:
        if fuses[0].startswith("F2"):  # it is fed through the relays, whose coils the supply's limit may drop first
            return f"{fuses[0]} blows, and the other mat keeps heating; or {_relays(build)} rattle: pull the plug"
        return f"{' and '.join(fuses)} blows; {NO_HEAT}"
    rattle = "" if row["part"] in BEFORE_K1 else f"{_relays(build)} may rattle on it; "
    return f"PS1 limits at {overload.limit_a(build):.3g} A, and no fuse need blow; {rattle}{NO_HEAT}"


def _silent(build: Build, row: Row) -> str:
    """The evening does not miss it."""
    if (row["part"], row["fault"]) == ("D7", "open"):
        return "nobody: the cut-outs' contacts wear sooner"
    if row["part"] in [ref for ref, _, _ in ZERO_WIRES]:
        return "only a meter, every six months: the other two keep 0 V joined"
    if row["fault"] == TOUCHES_X6:
        return "**only a meter between X5 and X6**, every six months: an open cut-out opens nothing until TF1 does"
    if row["part"] == "lead back from TF1":
        return "only a look: TF1 is bypassed, both cut-outs are not"
    if row["fault"] == TOUCHES_24V:
        return "**only the six-monthly test**: a cut-out is open, and K2's contact stays closed"
    if row["fault"] == BYPASS:
        return "**only the six-monthly test**: a cut-out is open, and the meter at X1 still shows ohms"
    if (row["part"], row["fault"]) == ("R14", "shorted"):
        return "nobody: nothing else changes"
    part = next((each for each in parts(build) if each.ref == row["part"]), None)
    if part is not None and part.guards and row["fault"] == "shorted":
        if part.kind == "FUSE":
            return "only a look, every six months: the right one, and not bridged"
        return "only its own test, every six months"
    return "the steps of the first power-up: nothing else changes"


def faults_block(build: Build, only: tuple[str, ...] = ()) -> str:
    """The guide's table for one build, as the simulation stored it: all of it, or the parts that are named."""
    lines = []
    for row in rows_of(build):
        if only and not row["part"].startswith(only):
            continue
        watts = [_watts(row[f"{state}_w"]) for state in STATES]
        part, amps = tightest(build, row)
        loaded = f"{part.ref}, {amps:.1f} of {part.rated_a:g} A" if amps >= 0.05 else "-"
        lines.append((row["part"], row["fault"], *watts, loaded, noticed(build, row)))
    return table(("part", "broken", "board off", "guard open, heat asked", "guard closed, none asked", "both",
                  "most loaded part", "who notices"), lines)


def _watts(text: str) -> str:
    return "0" if float(text) < 0.5 else f"{float(text):.0f} W"
