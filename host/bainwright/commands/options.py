"""The options that several commands have, each with one name, one reading and one help line."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click

from bainwright.commands.usage import Whole

Option = Callable[[Any], Any]

SEED = Whole(0, 2**32 - 1, hint="here --seed is the simulated noise; chocolate seed belongs to bain plan")

json = click.option("--json", "as_json", is_flag=True, help="Print the result as JSON; always °C, kg, s, W.")
port = click.option("--port", metavar="PORT", help="The board's serial port.  [default: the only one]")
virtual = click.option("--virtual", metavar="[RIG]", is_flag=False, flag_value="pot",
                       help="Use a simulated warmer: pot, mat, plate or a rig file.")
image = click.option("--virtual", metavar="IMAGE", help="Use a simulated board's flash, as hold --image stores it.")
rig = click.option("--rig", metavar="FILE", help="The warmer's rig file.")
vessel = click.option("--vessel", metavar="NAME", help="Which of the rig's vessels is on the warmer.")
plant = click.option("--plant", metavar="FILE.py:NAME", help="Your own simulated warmer; implies --virtual.")
speed = click.option("--speed", metavar="N|max", help="How fast simulated time passes.  [default: max]")
seed = click.option("--seed", type=SEED, metavar="N",
                    help="Random seed for the simulated noise.  [default: 0]")
lan = click.option("--lan", is_flag=True, help="Serve the page to phones on the local network too.")
look = click.option("--look", is_flag=True, help="With --lan: print a second link, for phones that only look.")
page_at = click.option("--page-at", metavar="ADDRESS",
                       help="Serve the page at this address of this PC, e.g. 192.168.1.20:8024.")
alert = click.option("--alert", metavar="COMMAND|URL", multiple=True,
                     help="Call a person this way when the warmer needs one; give it again for another way.")
fahrenheit = click.option("--fahrenheit", is_flag=True, help="Show °F.")
pounds = click.option("--pounds", is_flag=True, help="Show oz and lb.")


def room(help_: str = "Room temperature, in °C or 68F.  [default: 20]") -> Option:
    """The room's temperature; commands that learn it elsewhere say where."""
    return click.option("--room", metavar="TEMP", help=help_)


def board(command: Any) -> Any:
    """A board on a port, or a simulated board's flash image."""
    return port(image(command))


def metres(_: click.Context, __: click.Parameter, typed: str | None) -> float | None:
    """An altitude as it was typed, in metres."""
    from bainwright.core.masses import parse_metres

    return None if typed is None else parse_metres(typed, "--altitude")
