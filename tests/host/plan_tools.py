"""A plan as its tests ask for it, and `bain plan` as a person types it."""

from __future__ import annotations

from typing import Any

import pytest
from click.testing import CliRunner

from bainwright.commands.plan import plan as command
from bainwright.core.errors import BainError
from bainwright.core.masses import Shown
from bainwright.plan.options import PlanOptions, batch_request
from bainwright.plan.parts import Plan
from bainwright.plan.planner import make_plan
from bainwright.plan.words import text


def planned(profile: str = "dark", **asked: Any) -> Plan:
    asked = asked if "pieces" in asked else {"total": "2kg", **asked}
    return make_plan(batch_request(PlanOptions(profile, **asked), Shown()))


def run(*arguments: str) -> tuple[int, str]:
    """Exit status and stdout."""
    done = CliRunner().invoke(command, list(arguments), standalone_mode=False)
    if done.exception:
        raise done.exception
    return int(done.return_value), done.stdout


def said_of(made: Plan) -> str:
    """A plan's words on one line."""
    return " ".join(text(made, Shown()).split())


def refused(*arguments: str) -> str:
    with pytest.raises(BainError) as refusal:
        run(*arguments)
    assert refusal.value.exit_code == 2
    return str(refusal.value)
