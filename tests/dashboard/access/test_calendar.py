"""The calendar's address may carry a token, but none that could change anything."""

from __future__ import annotations

import pytest

from tests.browser.states import to_be_hopped


def test_a_token_that_may_look_opens_the_calendar(house):
    to_be_hopped(house.scene)
    answer = house.browser().get("/calendar.ics?token=token-screen")
    assert answer.status_code == 200 and b"Add the dry hops" in answer.content


@pytest.mark.parametrize(
    ("query", "status"),
    [("", 401), ("?token=", 401), ("?token=wrong", 401), ("?token=token-hydrometer-1", 401)],
)
def test_nothing_else_does(house, query, status):
    to_be_hopped(house.scene)
    answer = house.browser().get(f"/calendar.ics{query}")
    assert answer.status_code == status and b"VCALENDAR" not in answer.content


def test_who_is_signed_in_needs_none(house):
    browser = house.browser()
    browser.sign_in("guest")
    assert browser.get("/calendar.ics").status_code == 200


def test_a_token_in_any_other_address_is_not_looked_at(house):
    to_be_hopped(house.scene)
    assert house.browser().get("/batches/1?token=token-screen").status_code == 303
    both = house.browser()
    both.always = {"authorization": "Bearer wrong"}
    assert both.get("/calendar.ics?token=token-screen").status_code == 401
