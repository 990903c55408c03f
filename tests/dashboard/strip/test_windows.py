"""Which time the curve shows, and where each link leads."""

from __future__ import annotations

from urllib.parse import parse_qsl, urlsplit

import pytest

from dashboard.facts import Batch
from dashboard.strip import windows
from dashboard.strip.windows import Window

NOW = 1_768_431_600.0
HOUR = 3600.0
BATCH = Batch(1, "left", "Pale", NOW - 60 * HOUR, 1.052, 1.012, 23.0, "kveik")


def span_of(link: windows.Link) -> tuple[float, float]:
    """Hours before now."""
    query = dict(parse_qsl(urlsplit(link.href).query))
    return (NOW - float(query["from"])) / HOUR, (NOW - float(query["to"])) / HOUR


@pytest.mark.parametrize(
    ("query", "key", "hours"),
    [
        ({}, "batch", 60.5),
        ({"window": "6h"}, "6h", 6),
        ({"window": "day"}, "day", 24),
        ({"window": "3d"}, "3d", 72),
        ({"window": "nonsense"}, "batch", 60.5),
        ({"from": "1", "to": "0"}, "batch", 60.5),
        ({"from": "nan", "to": "inf"}, "batch", 60.5),
        ({"from": "0", "to": "1768431600"}, "batch", 60.5),
        ({"from": f"{NOW - 7200}", "to": f"{NOW}"}, "", 2),
    ],
)
def test_an_address_gives_a_window_and_a_senseless_one_the_usual(query, key, hours):
    shown = windows.chosen(query, BATCH, NOW)
    assert (shown.key, shown.span_s / HOUR) == (key, hours)


def test_without_a_batch_it_is_a_day_and_no_link_offers_one():
    assert windows.chosen({}, None, NOW).key == "day"
    shown = Window(NOW - 24 * HOUR, NOW, "day")
    assert [x.key for x in windows.choices("/c", shown, None)] == ["6h", "day", "3d"]


def test_a_batch_not_yet_pitched_shows_the_day():
    early = Batch(1, "left", "Pale", NOW + HOUR, 1.052, 1.012, 23.0, "kveik")
    assert windows.chosen({}, early, NOW).key == "day"


def test_moves_of_a_window_that_follows():
    found = {x.key: span_of(x) for x in windows.moves("/c", Window(NOW - 8 * HOUR, NOW, "x"), NOW)}
    assert found == {"earlier": (12, 4), "closer": (4, 0), "wider": (16, 0)}


def test_moves_of_a_window_in_the_past():
    shown = Window(NOW - 20 * HOUR, NOW - 12 * HOUR)
    found = {link.key: span_of(link) for link in windows.moves("/c", shown, NOW)}
    assert found == {"earlier": (24, 16), "later": (16, 8), "closer": (18, 14), "wider": (24, 8)}


def test_there_is_no_closer_than_a_quarter_of_an_hour_and_no_wider_than_a_year():
    near = windows.moves("/c", Window(NOW - 1000, NOW - 100), NOW)
    assert "closer" not in {link.key for link in near}
    far = windows.moves("/c", Window(NOW - 300 * 24 * HOUR, NOW), NOW)
    assert "wider" not in {link.key for link in far}


def test_every_link_leads_to_a_window_that_is_understood():
    shown = Window(NOW - 20 * HOUR, NOW - 12 * HOUR)
    links = (*windows.moves("/c", shown, NOW, "table"), *windows.choices("/c", shown, BATCH))
    for link in links:
        query = dict(parse_qsl(urlsplit(link.href).query))
        again = windows.chosen(query, BATCH, NOW)
        assert windows.here("/c", again, query.get("view", "")) == link.href
