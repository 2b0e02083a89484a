"""Tonight's plan as a checklist: stored by `bain plan --tonight`, shown on the page, its step of the moment marked."""

import dataclasses
import json
import re
import time
from datetime import datetime

import pytest
from page_tools import Outline, Phone, scene_at, served

from bainboard import stages
from bainwright import cli
from bainwright.core.errors import FileError
from bainwright.core.masses import Shown
from bainwright.live.now import now_of
from bainwright.page import server
from bainwright.page.hosting import Page
from bainwright.plan.options import PlanOptions, batch_request
from bainwright.plan.planner import make_plan
from bainwright.plan.tonight import FILE, store, stored, tonight_of


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    """A home of its own."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture(scope="module")
def plan():
    """The winter market's batch."""
    return make_plan(batch_request(PlanOptions(profile="dark", total="1.8kg", dip_at="19:00"), Shown()))


def checklist(plan):
    return tonight_of(plan, Shown(), datetime(2026, 11, 29, 14, 0))


def test_a_plan_comes_back_as_it_was_stored(plan):
    """Every step of the plan, in its order; there is none before the first is stored."""
    assert stored() is None
    store(checklist(plan))
    assert stored() == checklist(plan)
    assert [step.stage for step in stored().steps] == [step.name for step in plan.steps]


@pytest.mark.parametrize("method", ["cool", "butter"])
def test_each_step_has_the_boards_name_for_it(method):
    """Else the page never marks it: the plan's "warm back" is the board's settling."""
    made = make_plan(batch_request(PlanOptions(profile="dark", total="1.8kg", method=method), Shown()))
    steps = [step.stage for step in checklist(made).steps]
    assert set(steps) <= set(stages.BY_NAME)
    assert "settle" in steps


def test_the_page_shows_the_plan_and_marks_the_step_of_the_hold(plan):
    """One checkbox a step, and one for what to have ready."""
    store(checklist(plan))
    with served(scene_at(stage="seed")) as page:
        _, text = Phone(page).ask("GET", "/tonight")
    outline = Outline(text)
    boxes = [value for tag, name, value in outline.attributes if (tag, name, value) == ("input", "type", "checkbox")]
    assert len(boxes) == len(plan.steps) + 1
    assert text.count('aria-current="step"') == 1
    assert "Seed to 32.0" in text[text.index('aria-current="step"'):][:700]


def test_refills_are_due_with_their_mass_and_warmth_and_each_pointer_leads_to_its_words():
    """Twice the bowl's 2 kg of pot24: the other 2 kg in three refills; the one asked about is judged."""
    asked = {"refill": "300g", "refill_temp": "34", "in_bowl": "800g"}
    made = make_plan(batch_request(PlanOptions(profile="dark", total="4kg", rig="pot24", **asked), Shown()))
    store(checklist(made))
    assert checklist(made).refills[1].startswith("Refill 2 of 3: 665 g in temper")
    with Page([server.HERE], 0, []) as page:
        _, text = Phone(page).ask("GET", "/tonight")
    words = "".join(Outline(text).words)
    assert "Yours, 300 g at 34.0 °C into 800 g" in words
    assert "(--all)" not in words
    for title in re.findall(r"see '([^']+)'", words):
        assert re.search(f"<(h2|summary)>{title}</", text), title


@pytest.mark.parametrize("change", [
    lambda page, scene: page.latest.put(now_of(scene), time.monotonic() - 600.0),
    lambda page, scene: page.latest.put(now_of(scene, over=True), time.monotonic()),
    lambda page, scene: page.latest.put(now_of(dataclasses.replace(scene, chocolate="milk")), time.monotonic()),
])  # fmt: skip
def test_a_hold_that_is_old_or_over_or_of_another_chocolate_marks_nothing(plan, change):
    """The plan would lead the cook of one bowl by another."""
    store(checklist(plan))
    scene = scene_at(stage="work")
    with served(scene) as page:
        assert "· now" in Phone(page).ask("GET", "/tonight")[1]
        change(page, scene)
        assert "· now" not in Phone(page).ask("GET", "/tonight")[1]


@pytest.mark.parametrize("content", ["", "[]", "{", '{"schema": 2}', "\x00"])
def test_a_damaged_plan_is_a_sentence(here, content):
    """On the page, and for whoever reads it."""
    (here / FILE).write_text(content)
    with pytest.raises(FileError):
        stored()
    with Page([server.HERE], 0, []) as page:
        answer, text = Phone(page).ask("GET", "/tonight")
    assert answer.status == 200
    assert "cannot be read" in text


def test_the_command_stores_it(here, capsys):
    """And says where it is seen."""
    assert cli.main(["plan", "dark", "--total", "1.8kg", "--tonight"]) == 0
    assert "bain page" in capsys.readouterr().err
    assert json.loads((here / FILE).read_text())["steps"]
