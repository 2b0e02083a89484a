"""A moment of a hold for other programs: as JSON, and as metrics. Nothing can be commanded through a feed.

host/PAGE.md describes both. The metrics follow OpenMetrics 1.0 (https://openmetrics.io), which Prometheus and its kind
read: base units in the names, one HELP and TYPE a family, `# EOF` at the end.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

import msgspec

from bainwright.live.latest import Shown

METRICS_TYPE = "application/openmetrics-text; version=1.0.0; charset=utf-8"
NOTHING_RUNS = """# TYPE bain_hold_running gauge
# HELP bain_hold_running Does a program run a hold: 1, or 0.
bain_hold_running 0
# EOF
"""
COURSE = ("hour", "evening", "events")  # what happened before this moment


class Metric(NamedTuple):
    """A family of gauges: its value of one hold, None where not known. `live`: absent when the moment is old."""

    name: str
    unit: str
    help: str
    value: Callable[[Shown], float | None]
    live: bool = False


METRICS = (
    Metric("bain_hold_running", "", "Does a program run a hold: 1, or 0.", lambda shown: not shown.now.over),
    Metric("bain_report_age_seconds", "seconds", "Time since the board last reported.", lambda shown: shown.age_s),
    Metric("bain_hold_seconds", "seconds", "Time since the hold began.", lambda shown: shown.now.t_s),
    Metric("bain_hold_left_seconds", "seconds", "Time left, if the hold has an end.", lambda shown: shown.now.left_s),
    Metric("bain_calling", "", "Does the warmer ask for somebody: 1, or 0.",
           lambda shown: shown.calls),
    Metric("bain_fault", "", "The number of the fault in force; 0 is none.", lambda shown: shown.now.fault),
    Metric("bain_warnings", "", "How many warnings are in force.", lambda shown: len(shown.now.warnings)),
    Metric("bain_chocolate_celsius", "celsius", "The chocolate's temperature.",
           lambda shown: shown.now.chocolate_c, live=True),
    Metric("bain_chocolate_estimated", "", "Is the chocolate's temperature an estimate: 1, or 0.",
           lambda shown: None if shown.now.chocolate_c is None else shown.now.estimated, live=True),
    Metric("bain_water_celsius", "celsius", "The water's temperature.", lambda shown: shown.now.water_c, live=True),
    Metric("bain_water_target_celsius", "celsius", "What the water is controlled to.",
           lambda shown: shown.now.water_target_c, live=True),
    Metric("bain_window_low_celsius", "celsius", "The low end of the chocolate's window.",
           lambda shown: shown.now.low_c, live=True),
    Metric("bain_window_high_celsius", "celsius", "The high end of the chocolate's window.",
           lambda shown: shown.now.high_c, live=True),
    Metric("bain_ceiling_celsius", "celsius", "The water's ceiling.", lambda shown: shown.now.ceiling_c, live=True),
    Metric("bain_heater_watts", "watts", "The heater's mean power.", lambda shown: shown.now.power_w, live=True),
)  # fmt: skip


def as_json(shown: Shown, warmer: str, *, course: bool) -> dict[str, Any]:
    """A moment as plain values.

    Parameters
    ----------
    shown : Shown
        The moment.
    warmer : str
        The warmer's name, as other programs ask for it.
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
    return {**values, "warmer": warmer, "calling": shown.calls, "power_w": now.power_w, "left_s": now.left_s,
            "age_s": round(shown.age_s, 1), "stale": shown.old}  # fmt: skip


def as_line(shown: Shown, warmer: str) -> str:
    """A moment without its history as one line of JSON."""
    return msgspec.json.encode(as_json(shown, warmer, course=False)).decode()


def metrics(shown: Mapping[str, Shown | None]) -> str:
    """The holds of some warmers, by name, as OpenMetrics text.

    Temperatures and heat are absent when they are old or the hold is over.
    """
    known = {warmer: each for warmer, each in shown.items() if each is not None}
    if not known:
        return NOTHING_RUNS
    lines = ["# TYPE bain_hold info", "# HELP bain_hold What is held, and where."]
    for warmer, each in known.items():
        labels = {"chocolate": each.now.chocolate, "warmer": warmer, "virtual": str(each.now.virtual).lower()}
        lines.append(f"bain_hold_info{_labels(labels)} 1")
    for metric in METRICS:
        values = {warmer: metric.value(each) for warmer, each in known.items()
                  if not (metric.live and (each.now.over or each.old))}  # fmt: skip
        samples = [f"{metric.name}{_labels({'warmer': warmer})} {value:g}"
                   for warmer, value in values.items() if value is not None]  # fmt: skip
        if samples:
            lines += [f"# TYPE {metric.name} gauge", *([f"# UNIT {metric.name} {metric.unit}"] if metric.unit else []),
                      f"# HELP {metric.name} {metric.help}", *samples]  # fmt: skip
    return "\n".join([*lines, "# EOF", ""])


def _labels(values: dict[str, str]) -> str:
    r"""Labels with the three escapes of the format: backslash, quote, newline."""
    def quoted(text: str) -> str:
        return text.replace("\\", r"\\").replace('"', r"\"").replace("\n", r"\n")

    return "{" + ",".join(f'{name}="{quoted(text)}"' for name, text in values.items()) + "}"
