"""Units and time for one reader: the form, the cookie, and every page in what was chosen."""

from __future__ import annotations

import re
from zoneinfo import ZoneInfo

import pytest

from dashboard.facts import GravityUnit
from dashboard.live import LiveHub
from dashboard.sheet.units import TemperatureUnit, Units, VolumeUnit
from dashboard.store import Store
from dashboard.web.leaves import preferences
from tests.browser.states import STATES, Scene, holding, warming
from tests.dashboard.web.test_app import GRAVITY, OWN, client_of

CHOICE = {"temperature": "f", "gravity": "plato", "volume": "gal", "zone": "America/Chicago"}
COOKIE = {"cookie": "barmkeep-units=f:plato:gal:America%2FChicago"}
AMERICAN = Units(
    TemperatureUnit.FAHRENHEIT, GravityUnit.PLATO, VolumeUnit.GALLON, ZoneInfo("America/Chicago")
)


@pytest.fixture
def scene(tmp_path):
    made = Scene(Store.open(tmp_path / "store.sqlite"), LiveHub())
    yield made
    made.store.close()


def test_the_form_reads_a_choice_and_refuses_what_is_none():
    typed = {"temperature": "f", "gravity": "plato", "volume": "gal", "zone": " America/Chicago "}
    assert preferences.units_entry(typed).value == AMERICAN
    assert preferences.units_entry(preferences.typed_of(AMERICAN)).value == AMERICAN
    wrong = preferences.units_entry(typed | {"zone": "Mars/Olympus", "volume": "cup"})
    assert set(wrong.errors) == {"zone", "volume"} and wrong.typed["zone"] == "Mars/Olympus"
    assert preferences.units_entry(typed | {"zone": ""}).value.zone is None


def test_a_choice_is_kept_in_the_browser_and_shown_when_it_comes_back(scene):
    answer = client_of(scene).post("/preferences", data=CHOICE, headers=OWN)
    assert (answer.status_code, answer.headers["location"]) == (303, "/preferences?kept=yes")
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith(COOKIE["cookie"] + ";")
    assert "HttpOnly" in cookie and "SameSite=lax" in cookie and "Secure" not in cookie
    page = client_of(scene).get("/preferences?kept=yes", headers=COOKIE).text
    assert 'value="America/Chicago" autocomplete' in page
    assert 'value="f" checked' in page and 'value="plato" checked' in page
    assert "Wed 17:00" in page  # 23:00 UTC in Chicago


def test_a_zone_that_is_none_comes_back_with_its_message(scene):
    answer = client_of(scene).post("/preferences", data=CHOICE | {"zone": "Mars"}, headers=OWN)
    assert answer.status_code == 422 and "“Mars” is no zone" in answer.text
    assert 'value="Mars"' in answer.text and "set-cookie" not in answer.headers


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("view", ["", "?view=table"])
def test_no_page_shows_an_american_a_degree_celsius(scene, state, view):
    path = STATES[state](scene)
    text = client_of(scene).get(path + view, headers=COOKIE).text
    shown = re.sub(r"<option.*?</option>", "", text)
    assert "°C" not in shown and "litres" not in shown
    assert not re.search(r"\b\d[\d.]* K\b", shown)
    # What a hydrometer showed stays as it was typed, and a field's hint names both scales.
    shown = shown.replace("1.031 or 7.8", "")
    assert not re.search(r"\b1\.0\d\d\b(?! SG)(?!25 SG)", shown)


def test_a_sentence_a_curve_and_a_table_in_american_units(scene):
    holding(scene)
    client = client_of(scene)
    text = client.get("/chambers/garage-left", headers=COOKIE).text.replace("\u00a0", " ")
    assert "Day 3. 94.9 °F, on target since Monday 10:10." in text
    assert "Beer, °F" in text and "Gravity, °P" in text and 'data-degree="°F"' in text
    assert "6.08 US gallons" in text and "Original gravity 12.9 °P" in text
    assert "The beer is at 92.8 °F, 2.2 °F below its target of 95.0 °F." in text
    table = client.get("/chambers/garage-left?view=table&window=day", headers=COOKIE).text
    assert '<span class="unit"> °F</span>' in table and "95.0" in table


def test_a_form_is_read_in_the_units_it_was_made_in(scene):
    warming(scene)
    client = client_of(scene)
    page = client.get("/chambers/garage-left", headers=COOKIE).text
    assert 'name="units" value="f:plato:gal:America/Chicago"' in page
    assert "Sample, °F" in page and 'value="68"' in page
    typed = GRAVITY | {
        "sample": "95", "calibrated": "68", "taken": "2026-01-14T16:30",
        "units": "f:plato:gal:America/Chicago",
    }  # fmt: skip
    # The choice was changed back in another window; the form says what it was made in.
    answer = client.post("/chambers/garage-left/gravity", data=typed, headers=OWN)
    assert answer.status_code == 303
    (kept,) = scene.store.gravities(1)
    assert kept.sample_c == pytest.approx(35.0) and kept.calibrated_c == pytest.approx(20.0)
    assert kept.taken_utc_s == scene.now_utc_s - 1800


def test_a_cookie_that_makes_no_sense_is_as_good_as_none(scene):
    warming(scene)
    client = client_of(scene)
    for cookie in ("barmkeep-units=%FF%00", "barmkeep-units=f:sg", "barmkeep-units=f:a:b:c"):
        assert "°C" in client.get("/chambers/garage-left", headers={"cookie": cookie}).text
