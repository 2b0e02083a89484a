"""A hold for other programs: JSON, its stream, and metrics that the format's own parser reads."""

import json
import re
import socket
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from openapi_spec_validator import validate
from page_tools import Phone, code_of, scene_at, served, until
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from bainboard import faults, help_text
from bainwright.live.feeds import METRICS_TYPE, as_json, metrics
from bainwright.live.latest import Shown
from bainwright.live.mqtt_topics import homie
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


@pytest.mark.parametrize(("unwatched", "power_w"), [
    ("", 0.0), ("unanswered", 0.0), ("restarted", 0.0), ("lost", 30.0), ("left", 30.0), ("not_off", 30.0)])
def test_a_hold_that_is_over_heats_no_more(unwatched, power_w):
    """Unless its warmer may hold on, and nobody knows."""
    scene = scene_at()
    scene.unwatched = unwatched
    now = now_of(scene, over=True)
    assert (now.power_w, now.doing == "the heat is off") == (power_w, power_w == 0.0)


def test_an_estimate_is_no_reading_in_any_feed():
    """The metric and Homie's property beside the temperature."""
    moment = shown(scene_at(est=1))
    assert families(metrics({"pot": moment}))["bain_chocolate_estimated"][0] == 1.0
    assert families(metrics({"pot": shown()}))["bain_chocolate_estimated"][0] == 0.0
    assert homie(moment, "homie/pot", "pot")["homie/pot/hold/estimated"] == "true"


@pytest.mark.parametrize("moment", [shown(age_s=6.0), shown(age_s=float("nan")), shown(over=True)])
def test_an_old_temperature_is_no_metric(moment):
    """A gap in a graph, and not a line that looks alive."""
    found = families(metrics({"pot": moment}))
    assert "bain_chocolate_celsius" not in found
    assert "bain_heater_watts" not in found
    assert "bain_report_age_seconds" in found


def test_the_warnings_of_a_status_line_are_shown_by_number_and_in_words():
    """The board sends a bit mask (firmware/WIRE.md)."""
    values = as_json(shown(scene_at(warn=1 << faults.SECOND_PROBE | 1 << faults.BOWL_PROBE)), "pot", course=False)
    assert list(values["warnings"]) == [faults.BOWL_PROBE, faults.SECOND_PROBE]
    assert values["fault"] == 0
    assert help_text.FAULTS[faults.SECOND_PROBE][0] in values["warning"]


def test_before_the_first_report_the_metrics_say_that_nothing_runs():
    """And the JSON says why there is nothing."""
    assert families(metrics({})) == {"bain_hold_running": (0.0, "", {})}
    with served() as page:
        answer, text = Phone(page).ask("GET", "/api/now")
    assert answer.status == 503
    assert "no hold" in text


def test_a_reading_that_is_missing_is_null_and_no_metric():
    """No probe in the chocolate."""
    moment = shown(scene_at(bowl=None))
    assert as_json(moment, "pot", course=True)["chocolate_c"] is None
    assert "bain_chocolate_celsius" not in families(metrics({"pot": moment}))


def test_the_document_names_every_field_and_every_metric():
    """A program is written from it."""
    document = (Path(__file__).parents[2] / "host" / "PAGE.md").read_text(encoding="utf-8")
    moment = shown()
    families = text_string_to_metric_families(metrics({"pot": moment}))
    names = [*as_json(moment, "pot", course=True), *(each.name for each in families)]
    assert len(names) > 40
    assert [name for name in names if f"`{name}`" not in document and f"`{name}_info`" not in document] == []


def test_the_feeds_are_served_and_each_says_how_old_it_is():
    """JSON with the history, metrics with their own type."""
    with served(scene_at()) as page:
        phone = Phone(page)
        values = json.loads(phone.ask("GET", "/api/now")[1])
        answer, text = phone.ask("GET", "/metrics")
    assert values["chocolate_c"] == 31.5
    assert values["stale"] is False
    assert values["age_s"] < 5.0
    assert values["evening"][0] == [0.0, 33.0, 31.5]
    assert answer.getheader("content-type") == METRICS_TYPE
    assert families(text)["bain_hold_running"][0] == 1.0


@pytest.mark.parametrize("path", ["/api/now", "/api/now/stream", "/metrics", "/feeds", "/api/openapi.json"])
def test_nothing_is_commanded_through_a_feed(path):
    """They answer to reading alone."""
    with served(scene_at()) as page:
        assert Phone(page).post(path, "act=stop")[0].status == 404
        assert page.taken == []


def test_the_description_of_the_feeds_is_valid_and_every_answer_fits_it():
    """OpenAPI's own validator judges the description, jsonschema each real answer by it, those that refuse included."""
    with served(scene_at()) as page, served() as empty:
        phone = Phone(page)
        found = json.loads(phone.ask("GET", "/api/openapi.json")[1])
        validate(found)
        assert set(found["paths"]) == {"/api/now", "/api/now/stream", "/api/warmers", "/metrics"}
        assert all(list(answers) == ["get"] for answers in found["paths"].values())

        def fits(program, path, status, query="", **headers):
            answer, text = program.ask("GET", path + query, **headers)
            assert answer.status == status
            described = found["paths"][path]["get"]["responses"][str(status)]["content"]
            kind = answer.getheader("content-type")
            schema = described[kind]["schema"]
            value = json.loads(text) if kind == "application/json" else text
            Draft202012Validator({**schema, "components": found["components"]}).validate(value)
            return value

        values = fits(phone, "/api/now", 200)
        schema = found["components"]["schemas"]["Now"]
        assert set(values) == set(schema["properties"]) == set(schema["required"])
        now = {"age_s": 0, "stale": False}  # by the clock
        assert fits(phone, "/api/now", 200, "?warmer=" + values["warmer"]) | now == values | now
        assert fits(phone, "/api/warmers", 200)["warmers"] == [values["warmer"]]
        fits(phone, "/metrics", 200)
        for path in ("/api/now", "/api/now/stream"):
            assert fits(phone, path, 404, "?warmer=tub")["warmers"] == [values["warmer"]]
        fits(Phone(empty), "/api/now", 503)
        moment = json.loads(first_event(page, "/api/now/stream"))
        described = found["components"]["schemas"]["Moment"]
        Draft202012Validator({**described, "components": found["components"]}).validate(moment)
        assert set(moment) == set(described["required"])
        page._access.open_to_look = False
        for path in found["paths"]:
            fits(phone, path, 401)


def first_event(page, path):
    """The data of a stream's first moment, as the HTML standard has it: after ``data: ``, up to the line's end."""
    with socket.create_connection(("127.0.0.1", page.port)) as client:
        client.sendall(f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{page.port}\r\n\r\n".encode())
        got = until(client, b"data: {")
        while b"}\n\n" not in got.partition(b"data: {")[2]:
            got += client.recv(65536)
    return re.search(rb"data: (\{.*?\})\n\n", got, re.DOTALL)[1]


def test_on_a_network_a_program_needs_the_token_and_only_a_paired_phone_sees_it():
    """The feeds' page shows it to nobody else."""
    with served(scene_at()) as page:
        page._access.open_to_look = False
        token, phone, program = page._access.feed_token, Phone(page), Phone(page)
        for path in ("/api/now", "/api/now/stream", "/api/warmers", "/metrics", "/api/openapi.json"):
            for sent in (None, "Bearer wrong", "Basic eDp5"):
                answer, text = program.ask("GET", path, Authorization=sent)
                assert (answer.status, answer.getheader("www-authenticate")) == (401, "Bearer")  # RFC 6750, 3
                assert "Authorization: Bearer TOKEN" in json.loads(text)["error"]
        assert program.ask("GET", "/api/now", Authorization=f"Bearer {token}")[0].status == 200
        assert token not in program.ask("GET", "/feeds", Authorization=f"Bearer {token}")[1]
        phone.pair(code_of(page))
        assert token in phone.ask("GET", "/feeds")[1]
