"""What the tests of `bain rig` share: the command, a rig file, and figures that a person would type."""

from pathlib import Path

from bainwright import cli
from bainwright.virtual.probe_ids import default_id

HARDWARE = Path(__file__).parents[2] / "hardware"
WATER, BOWL = default_id("water"), default_id("bowl")
TOP = """
name = "mine"
heater_w = 100.0
switch = "dc"
period_s = 1.0
water_l = 1.5
bowl_kg = 0.5
chocolate_kg = 1.5
hard_limit_c = 60.0
"""
MEASURED = ["--heater-w", "60 W", "--switch", "dc", "--water-l", "1,5", "--bowl-kg", "0.4", "--chocolate-kg", "1.2"]


def rig(capsys, *arguments):
    """Exit status, stdout, stderr."""
    code = cli.main(["rig", *arguments])
    out, err = capsys.readouterr()
    assert "Traceback" not in err
    return code, out, err


def written(text, name="mine.toml"):
    """A rig file."""
    Path(name).write_text(TOP + text, encoding="utf-8")
    return name
