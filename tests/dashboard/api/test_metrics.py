"""/metrics, read by the parsers of the Prometheus project."""

from __future__ import annotations

import pytest
from prometheus_client import openmetrics, parser
from prometheus_client.openmetrics import parser as open_parser

from dashboard.api.metrics import OF_A_TICK, OPEN_METRICS, PLAIN_TEXT
from tests.browser.states import several
from tests.dashboard.access.house import House

OPEN = {"accept": "application/openmetrics-text; version=1.0.0, text/plain;q=0.5"}


def samples(families) -> dict[tuple[str, str], float]:
    return {
        (each.name, each.labels.get("chamber", "")): each.value
        for family in families
        for each in family.samples
    }


def test_both_forms_are_read_by_the_outside_parsers_and_agree(house, device):
    answer = device.get("/metrics", headers=OPEN)
    assert answer.headers["content-type"] == OPEN_METRICS
    assert answer.text.endswith("# EOF\n")
    new = samples(open_parser.text_string_to_metric_families(answer.text))
    answer = device.get("/metrics")
    assert answer.headers["content-type"] == PLAIN_TEXT and "# EOF" not in answer.text
    assert samples(parser.text_string_to_metric_families(answer.text)) == new
    tick = house.hub.newest("garage-left").tick
    assert new["barmkeep_beer_celsius", "garage-left"] == pytest.approx(tick.beer_c)
    assert new["barmkeep_live", "garage-left"] == 1
    assert 1 < new["barmkeep_specific_gravity", "garage-left"] < 1.06
    assert new["barmkeep_gravity_age_seconds", "garage-left"] > 0
    assert openmetrics


def test_kinds_and_units_are_declared(device):
    text = device.get("/metrics", headers=OPEN).text
    families = {each.name: each for each in open_parser.text_string_to_metric_families(text)}
    assert families["barmkeep_beer_celsius"].unit == "celsius"
    assert families["barmkeep_heat_starts"].type == "counter"
    assert families["barmkeep_build"].type == "info"
    # Source: OpenMetrics 1.0, section 2.1: a unit is the end of the family's name.
    assert all(each.name.endswith(each.unit) for each in families.values())


def test_a_silent_chambers_old_values_are_not_passed_off_as_new(tmp_path):
    house = House(tmp_path).populate()
    several(house.scene)
    screen = house.browser()
    screen.always = {"authorization": "Bearer token-screen"}
    house.now_utc_s += 3600
    found = samples(parser.text_string_to_metric_families(screen.get("/metrics").text))
    assert found["barmkeep_live", "garage-left"] == 0
    assert ("barmkeep_beer_celsius", "garage-left") not in found
    assert found["barmkeep_heard_age_seconds", "garage-left"] >= 3600
    house.close()


@pytest.mark.parametrize(("web", "status"), [("", 401), ("open_metrics = true", 200)])
def test_it_is_for_who_may_look_unless_the_settings_open_it(tmp_path, web, status):
    house = House(tmp_path, f'names = ["pi.lan"]\n{web}').populate()
    assert house.browser().get("/metrics").status_code == status
    house.close()


def test_no_name_of_a_family_is_used_twice():
    names = [family.full_name for family in OF_A_TICK]
    assert len(names) == len(set(names))
