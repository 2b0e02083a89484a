"""A hold for other programs: JSON, its stream, and metrics that the format's own parser reads."""

import json
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from openapi_spec_validator import validate
from page_tools import Phone, code_of, scene_at, served
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from bainboard import faults, help_text
from bainwright.live.feeds import METRICS_TYPE, as_json, metrics
from bainwright.live.latest import Shown
from bainwright.live.now import now_of


def shown(scene=None, age_s=0.5, **options):
    return Shown(now_of(scene or scene_at(), **options), 1, age_s)


def families(text):
    """As prometheus-client's OpenMetrics parser reads it: name to (value, unit)."""
    return {each.name: (each.samples[0].value, each.unit, each.samples[0].labels)
            for each in text_string_to_metric_families(text)}  # fmt: skip


def test_metrics_are_read_by_the_formats_own_parser():
    """Values, base units and labels, with the characters that labels escape."""
    scene = scene_at()
    scene.chocolate = 'a "b" \\ c\nd'
    found = families(metrics({"pot": shown(scene)}))
    assert found["bain_chocolate_celsius"][:2] == (31.5, "celsius")
    assert found["bain_water_celsius"][0] == 33.0
    assert found["bain_heater_watts"][:2] == (30.0, "watts")
    assert found["bain_hold_running"][0] == 1.0
    assert found["bain_hold"][2]["chocolate"] == scene.chocolate


@pytest.mark.parametrize("moment", [shown(age_s=6.0), shown(age_s=float("nan")), shown(over=True)])
def test_an_old_temperature_is_no_metric(moment):
    """A gap in a graph, and not a line that looks alive."""
    found = families(metrics({"pot": moment}))
    assert "bain_chocolate_celsius" not in found
    assert "bain_heater_watts" not in found
    assert "bain_report_age_seconds" in found


def test_the_warnings_of_a_status_line_are_shown_by_number_and_in_words():
    """The board sends a bit mask (firmware/WIRE.md)."""
    values = as_json(shown(scene_at(warn=1 << faults.SECOND_PROBE | 1 << faults.BOWL_PROBE)), course=False)
    assert list(values["warnings"]) == [faults.BOWL_PROBE, faults.SECOND_PROBE]
    assert values["fault"] == 0
    assert help_text.FAULTS[faults.SECOND_PROBE][0] in values["warning"]


def test_before_the_first_report_the_metrics_say_that_nothing_runs():
    """And the JSON says why there is nothing."""
    assert families(metrics({})) == {"bain_hold_running": (0.0, "", {})}
    with served() as page:
        answer, text = Phone(page).ask("GET", "/now.json")
    assert answer.status == 503
    assert "no hold" in text


def test_a_reading_that_is_missing_is_null_and_no_metric():
    """No probe in the chocolate."""
    moment = shown(scene_at(bowl=None))
    assert as_json(moment, course=True)["chocolate_c"] is None
    assert "bain_chocolate_celsius" not in families(metrics({"pot": moment}))


def test_the_document_names_every_field_and_every_metric():
    """A program is written from it."""
    document = (Path(__file__).parents[2] / "host" / "PAGE.md").read_text(encoding="utf-8")
    moment = shown()
    families = text_string_to_metric_families(metrics({"pot": moment}))
    names = [*as_json(moment, course=True), *(each.name for each in families)]
    assert len(names) > 40
    assert [name for name in names if f"`{name}`" not in document and f"`{name}_info`" not in document] == []


def test_the_feeds_are_served_and_each_says_how_old_it_is():
    """JSON with the history, metrics with their own type."""
    with served(scene_at()) as page:
        phone = Phone(page)
        values = json.loads(phone.ask("GET", "/now.json")[1])
        answer, text = phone.ask("GET", "/metrics")
    assert values["chocolate_c"] == 31.5
    assert values["stale"] is False
    assert values["age_s"] < 5.0
    assert values["evening"][0] == [0.0, 33.0, 31.5]
    assert answer.getheader("content-type") == METRICS_TYPE
    assert families(text)["bain_hold_running"][0] == 1.0


@pytest.mark.parametrize("path", ["/now.json", "/now.stream", "/metrics", "/feeds", "/openapi.json"])
def test_nothing_is_commanded_through_a_feed(path):
    """They answer to reading alone."""
    with served(scene_at()) as page:
        assert Phone(page).post(path, "act=stop")[0].status == 404
        assert page.taken == []


def test_the_description_of_the_feeds_is_valid_and_has_every_path_and_field():
    """Checked by OpenAPI's own validator; each path answers."""
    with served(scene_at()) as page:
        phone = Phone(page)
        found = json.loads(phone.ask("GET", "/openapi.json")[1])
        for path in found["paths"]:
            if path != "/now.stream":
                assert phone.ask("GET", path)[0].status == 200
        values = json.loads(phone.ask("GET", "/now.json")[1])
    validate(found)
    schema = found["components"]["schemas"]["Now"]
    assert set(values) == set(schema["properties"]) == set(schema["required"])
    Draft202012Validator({**schema, "components": found["components"]}).validate(values)
    assert all(list(answers) == ["get"] for answers in found["paths"].values())


def test_on_a_network_a_program_needs_the_token_and_only_a_paired_phone_sees_it():
    """The feeds' page shows it to nobody else."""
    with served(scene_at()) as page:
        page._access.open_to_look = False
        token, phone, program = page._access.feed_token, Phone(page), Phone(page)
        assert program.ask("GET", "/now.json")[0].status == 303
        assert program.ask("GET", "/now.json", Authorization="Bearer wrong")[0].status == 303
        assert program.ask("GET", "/now.json", Authorization=f"Bearer {token}")[0].status == 200
        assert token not in program.ask("GET", "/feeds", Authorization=f"Bearer {token}")[1]
        phone.pair(code_of(page))
        assert token in phone.ask("GET", "/feeds")[1]
