"""What programs read and write, checked against the document that promises it."""

from __future__ import annotations

import json

import jsonschema
import pytest

from controller.wire import Event, Tick, encode
from dashboard.api import problems
from dashboard.api.operations import ROOT
from dashboard.api.shapes import SHAPES
from tests.browser.states import NOW_UTC_S

CHAMBER = f"{ROOT}/chambers/garage-left"
GRAVITIES = f"{ROOT}/batches/1/gravities"
READING = {"taken_utc_s": NOW_UTC_S - 60, "entered": 1.2, "unit": "plato", "sample_c": 35.0}


def fits(name: str, body: object) -> bool:
    """Whether the body is as the document says; jsonschema is the outside judge."""
    schema = {"$ref": f"#/components/schemas/{name}", "components": {"schemas": SHAPES}}
    jsonschema.Draft202012Validator(schema).validate(body)
    return True


@pytest.mark.parametrize(
    ("path", "shape"),
    [
        ("/chambers", "Chambers"),
        ("/chambers/garage-left", "Chamber"),
        ("/chambers/garage-left/curve?points=40", "Curve"),
        ("/chambers/garage-left/ticks?limit=3", "Ticks"),
        ("/chambers/garage-left/events", "Events"),
        ("/chambers/garage-left/batches", "Batches"),
        ("/batches/1", "Batch"),
        ("/batches/1/gravities", "Gravities"),
        ("/batches/1/notes", "Notes"),
        ("/export.json", "Everything"),
    ],
)
def test_every_reading_answer_is_as_the_document_says(device, path, shape):
    answer = device.get(ROOT + path)
    assert answer.status_code == 200 and answer.headers["content-type"] == "application/json"
    assert fits(shape, answer.json())


def test_a_chamber_is_told_as_it_is_now(house, device):
    found = device.get(CHAMBER).json()
    tick = house.hub.newest("garage-left").tick
    assert found["is_live"] and found["presence"] == "present"
    assert found["tick"]["beer_c"] == pytest.approx(tick.beer_c, abs=0.001)
    assert found["batch"]["name"] == "Farmhouse pale"
    assert "v" not in found["tick"] and "is" not in found["tick"]


def test_ticks_are_paged_without_a_gap_or_a_double(house, device):
    found, from_utc_s = [], 0.0
    while from_utc_s is not None:
        address = f"{CHAMBER}/ticks?from_utc_s={from_utc_s}&limit=1000"
        page = device.get(address).json()
        found += page["ticks"]
        from_utc_s = page["next_utc_s"]
    kept = [tick.seq for tick in house.store.ticks("garage-left", 0, 1e11)]
    assert [each["seq"] for each in found] == kept and len(kept) > 2000


def test_a_curve_keeps_its_extremes(house, device):
    fine = house.store.ticks("garage-left", NOW_UTC_S - 3600, NOW_UTC_S + 1)
    window = f"from_utc_s={NOW_UTC_S - 3600}&to_utc_s={NOW_UTC_S + 1}&points=2"
    found = device.get(f"{CHAMBER}/curve?{window}").json()["buckets"]
    highest = max(bucket["beer_high_c"] for bucket in found)
    assert highest >= max(tick.beer_c for tick in fine) - 0.001


def test_what_a_reading_says_of_the_beer_stands_beside_it(device):
    *_, last = device.get(GRAVITIES).json()["gravities"]
    # Source: apparent attenuation is the share of the original extract that seems gone (ASBC).
    assert 1.0 < last["corrected_sg"] < 1.06 and 0 < last["apparent_attenuation"] < 1
    assert 0 < last["real_attenuation"] < last["apparent_attenuation"]


# Writing.


def test_a_reading_is_added_corrected_and_struck_and_its_history_stays(house, device):
    answer = device.ask("POST", GRAVITIES, json=READING | {"note": "gas shaken out"})
    assert answer.status_code == 201 and fits("Gravity", answer.json())
    where = answer.headers["location"]
    assert answer.json()["entered"] == 1.2 and answer.json()["calibrated_c"] == 20
    changed = device.ask("PATCH", where, json={"entered": 1.3})
    assert changed.status_code == 200, changed.text
    assert changed.json()["note"] == "gas shaken out"
    assert device.ask("DELETE", where).status_code == 204
    assert device.ask("DELETE", where).status_code == 404
    done = [(each.did, each.by.who) for each in house.store.changes(1)][:3]
    assert done == [(did, "hydrometer-1") for did in ("struck", "changed", "written")]


@pytest.mark.parametrize(
    ("more", "status", "expected"),
    [
        ({"entered": 10.48, "unit": "sg"}, 422, "Probably SG 1.048"),
        ({"entered": 11.0}, 409, "above the last reading"),
        ({"entered": "5.2"}, 422, "entered is not a number"),
        ({"entered": True}, 422, "entered is not a number"),
        ({"sample_c": 80}, 422, "sample_c is 80"),
        ({"unit": "brix"}, 422, "unit is none of sg, plato"),
        ({"taken_utc_s": NOW_UTC_S + 7200}, 422, "in the future"),
        ({"taken_utc_s": 1.0}, 422, "before this batch was pitched"),
        ({"taken_utc_s": NOW_UTC_S * 1000}, 422, "taken_utc_s is"),
        ({"colour": "gold"}, 422, "'colour' is not known"),
        ({"note": "a\nb"}, 422, "not allowed"),
        ({"note": "x" * 2001}, 422, "2001 characters"),
    ],
)
def test_what_cannot_be_kept_is_refused_in_words(house, device, more, status, expected):
    before = house.store.gravities(1)
    answer = device.ask("POST", GRAVITIES, json=READING | more)
    assert answer.status_code == status and fits("Problem", answer.json())
    assert answer.headers["content-type"] == problems.MEDIA_TYPE
    said = answer.json()
    assert expected in " ".join([said["detail"], said["remedy"], *said.get("errors", ())])
    assert house.store.gravities(1) == before


def test_an_unlikely_reading_is_kept_when_the_program_is_sure(house, device):
    typed = READING | {"entered": 11.0}
    assert device.ask("POST", GRAVITIES, json=typed).status_code == 409
    assert device.ask("POST", GRAVITIES, json=typed | {"sure": True}).status_code == 201


@pytest.mark.parametrize(
    ("body", "kind", "status"),
    [
        (b"", "application/json", 400),
        (b"[]", "application/json", 422),
        (b"{", "application/json", 400),
        (b'{"entered": NaN}', "application/json", 400),
        (b'{"entered": 1e999}', "application/json", 422),
        (b'{"a":' * 3000, "application/json", 400),
        (b"\xff\xfe", "application/json", 400),
        (rb'{"note": "\ud800"}', "application/json", 400),
        (b"{}", "text/plain", 415),
        (b"{}", "application/x-www-form-urlencoded", 415),
        (b" " * 20_000, "application/json", 413),
    ],
)
def test_a_body_that_is_none_is_refused(device, body, kind, status):
    answer = device.ask("POST", GRAVITIES, content=body, headers={"content-type": kind})
    assert answer.status_code == status and fits("Problem", answer.json())


@pytest.mark.parametrize(
    ("address", "status"),
    [
        (f"{ROOT}/chambers/nowhere", 404),
        (f"{ROOT}/chambers/NOT-A-NAME", 404),
        (f"{ROOT}/chambers/nowhere/ticks", 404),
        (f"{ROOT}/batches/99", 404),
        (f"{ROOT}/batches/{2**70}", 404),
        (f"{ROOT}/batches/1e0", 404),
        (f"{ROOT}/batches/-1/notes", 404),
        (f"{ROOT}/nothing", 404),
        (f"{CHAMBER}/ticks?limit=0", 400),
        (f"{CHAMBER}/ticks?limit=1_0", 400),
        (f"{CHAMBER}/ticks?limit=5&limit=6", 400),
        (f"{CHAMBER}/ticks?from_utc_s=nan", 400),
        (f"{CHAMBER}/ticks?from_utc_s=5&to_utc_s=5", 400),
        (f"{CHAMBER}/ticks?form_utc_s=5", 400),
        (f"{CHAMBER}/curve?points=1001", 400),
    ],
)
def test_an_address_that_is_wrong_is_refused_in_words(device, address, status):
    answer = device.get(address)
    assert answer.status_code == status and fits("Problem", answer.json())


def test_a_wrong_method_is_told_the_right_ones(device):
    answer = device.ask("PUT", GRAVITIES)
    assert answer.status_code == 405 and fits("Problem", answer.json())
    assert set(answer.headers["allow"].split(", ")) == {"GET", "HEAD", "POST"}


# Who may.


def test_without_a_token_a_program_is_told_how_to_get_one(house):
    for headers in ({}, {"authorization": "Bearer wrong"}, {"authorization": "Basic YTpi"}):
        answer = house.browser().get(f"{ROOT}/chambers", headers=headers)
        assert answer.status_code == 401 and fits("Problem", answer.json())
        assert answer.headers["www-authenticate"] == "Bearer"
        assert "token add" in answer.json()["remedy"]


def test_a_token_that_may_only_look_changes_nothing(house):
    screen = house.browser()
    screen.always = {"authorization": "Bearer token-screen"}
    assert screen.get(GRAVITIES).status_code == 200
    answer = screen.ask("POST", GRAVITIES, json=READING)
    assert answer.status_code == 403 and "screen may look" in answer.json()["detail"]


def test_a_browsers_session_writes_only_from_our_page_with_its_seal(house):
    browser = house.browser()
    browser.sign_in("brewer")
    seal = {"x-barmkeep-seal": browser.seal("/preferences")}
    own = {"origin": browser.address}
    assert browser.ask("POST", GRAVITIES, json=READING, headers=seal).status_code == 403
    assert browser.ask("POST", GRAVITIES, json=READING, headers=own).status_code == 403
    assert browser.ask("POST", GRAVITIES, json=READING, headers=own | seal).status_code == 201


def test_a_guessed_token_beside_a_good_cookie_opens_nothing(house):
    browser = house.browser()
    browser.sign_in("brewer")
    answer = browser.get(f"{ROOT}/chambers", headers={"authorization": "Bearer guessed"})
    assert answer.status_code == 401


def test_messages_are_shown_as_the_published_language_has_them(house):
    tick = house.hub.newest("garage-left").tick
    assert fits("Tick", json.loads(encode(tick)))
    assert {*SHAPES["Tick"]["properties"]} == set(Tick.__dataclass_fields__)
    assert {*SHAPES["Event"]["properties"]} == set(Event.__dataclass_fields__)
