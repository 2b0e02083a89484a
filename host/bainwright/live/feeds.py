"""A moment of a hold for other programs: as JSON, and as metrics. Nothing can be commanded through a feed.

host/PAGE.md describes both. The metrics follow OpenMetrics 1.0 (https://openmetrics.io), which Prometheus and its kind
read: base units in the names, one HELP and TYPE a family, `# EOF` at the end.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import msgspec

from bainwright.live.latest import Shown

METRICS_TYPE = "application/openmetrics-text; version=1.0.0; charset=utf-8"
COURSE = ("hour", "evening", "events")  # what happened before this moment


class Metric(NamedTuple):
    """One family with one sample; a value of None is left out."""

    name: str
    unit: str
    help: str
    value: float | None


def as_json(shown: Shown, *, course: bool) -> dict[str, Any]:
    """A moment as plain values.

    Parameters
    ----------
    shown : Shown
        The moment.
    course : bool
        With the temperatures and events up to it.

    Returns
    -------
    dict
        The fields of `Now`, and ``power_w``, ``left_s``, ``age_s`` (seconds since the board last reported) and
        ``stale`` (the figures are old).
    """
    now = shown.now
    values: dict[str, Any] = msgspec.to_builtins(now)
    if not course:
        for name in COURSE:
            del values[name]
    return {**values, "power_w": now.power_w, "left_s": now.left_s, "age_s": round(shown.age_s, 1),
            "stale": shown.old}  # fmt: skip


def as_line(shown: Shown) -> str:
    """A moment without its history as one line of JSON."""
    return msgspec.json.encode(as_json(shown, course=False)).decode()


def metrics(shown: Shown | None) -> str:
    """A moment as OpenMetrics text; temperatures and heat are absent when they are old or the hold is over."""
    running = shown is not None and not shown.now.over
    families = [Metric("bain_hold_running", "", "Does a hold run: 1, or 0.", float(running))]
    lines = []
    if shown is not None:
        now = shown.now
        families += [
            Metric("bain_report_age_seconds", "seconds", "Time since the board last reported.", shown.age_s),
            Metric("bain_hold_seconds", "seconds", "Time since the hold began.", now.t_s),
            Metric("bain_hold_left_seconds", "seconds", "Time left, if the hold has an end.", now.left_s),
            Metric("bain_calling", "", "Does the warmer ask for somebody: 1, or 0.", float(now.calling and running)),
            Metric("bain_fault", "", "The number of the fault in force; 0 is none.", float(now.fault)),
            Metric("bain_warnings", "", "How many warnings are in force.", float(len(now.warnings))),
        ]
        labels = {"chocolate": now.chocolate, "warmer": now.warmer, "virtual": str(now.virtual).lower()}
        lines += ["# TYPE bain_hold info", "# HELP bain_hold What is held, and where.",
                  f"bain_hold_info{_labels(labels)} 1"]  # fmt: skip
        if running and not shown.old:
            families += [
                Metric("bain_chocolate_celsius", "celsius", "The chocolate's temperature.", now.chocolate_c),
                Metric("bain_water_celsius", "celsius", "The water's temperature.", now.water_c),
                Metric("bain_water_target_celsius", "celsius", "What the water is controlled to.", now.water_target_c),
                Metric("bain_window_low_celsius", "celsius", "The low end of the chocolate's window.", now.low_c),
                Metric("bain_window_high_celsius", "celsius", "The high end of the chocolate's window.", now.high_c),
                Metric("bain_ceiling_celsius", "celsius", "The water's ceiling.", now.ceiling_c),
                Metric("bain_heater_watts", "watts", "The heater's mean power.", now.power_w),
            ]
    for each in families:
        if each.value is not None:
            lines.append(f"# TYPE {each.name} gauge")
            if each.unit:
                lines.append(f"# UNIT {each.name} {each.unit}")
            lines += [f"# HELP {each.name} {each.help}", f"{each.name} {each.value:g}"]
    return "\n".join([*lines, "# EOF", ""])


def _labels(values: dict[str, str]) -> str:
    r"""Labels with the three escapes of the format: backslash, quote, newline."""
    def quoted(text: str) -> str:
        return text.replace("\\", r"\\").replace('"', r"\"").replace("\n", r"\n")

    return "{" + ",".join(f'{name}="{quoted(text)}"' for name, text in values.items()) + "}"
