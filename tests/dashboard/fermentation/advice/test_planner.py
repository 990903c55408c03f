"""Which day suits packaging best."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from dashboard.fermentation.advice.items import HopAddition
from dashboard.fermentation.advice.planner import packaging_days
from tests.dashboard.fermentation.advice.views import at, view_at

OSLO = ZoneInfo("Europe/Oslo")


def test_days_run_from_today_and_chances_only_rise():
    days = packaging_days([view_at(20, (10, 20))], at(20), 7, OSLO)
    assert [str(each.day) for each in days[:2]] == ["2026-01-02", "2026-01-03"]
    chances = [each.batches[0].ready for each in days]
    assert chances == sorted(chances)
    assert chances[0] < 0.05 and chances[-1] > 0.9


def test_an_evening_already_past_is_left_out():
    days = packaging_days([view_at(8, (8,))], at(8), 2, OSLO)
    assert [str(each.day) for each in days] == ["2026-01-02"]


def test_the_best_day_is_the_first_on_which_it_is_surely_done():
    days = packaging_days([view_at(20, (10, 20), is_dry_hopped=False)], at(20), 10, OSLO)
    (best,) = [each for each in days if each.is_best]
    assert best.batches[0].ready > 0.8
    assert best.worth == max(each.worth for each in days)
    assert "Frost will be done" in best.sentence


def test_a_batch_on_its_hops_too_long_is_named_and_costs_the_day():
    hops = (HopAddition(1, at(34)),)
    hopped = view_at(90, (12, 24, 36, 60, 90), number=2, name="Snow", hops=hops)
    days = packaging_days([hopped], at(90), 5, OSLO)
    over = [each.batches[0].over_limit_h for each in days]
    assert over == sorted(over) and over[0] == 0.0 and over[-1] > 24.0
    assert "Snow will have sat too long on the hops" in days[-1].sentence
    best = next(each for each in days if each.is_best)
    assert best.batches[0].over_limit_h == 0.0
    assert days[1].batches[0].hops_h == pytest.approx((days[1].at_utc_s - at(34)) / 3600.0)


def test_two_batches_share_a_day_that_suits_both():
    ready = view_at(120, (12, 24, 36, 80, 92, 110), is_dry_hopped=False)
    young = view_at(20, (10, 20), number=2, name="Snow")
    days = packaging_days([ready, young], at(20), 10, OSLO)
    best = next(each for each in days if each.is_best)
    assert min(each.ready for each in best.batches) > 0.8
    assert "Frost and Snow will be done" in best.sentence


def test_no_batch_at_all_has_no_best_day():
    assert not any(each.is_best for each in packaging_days([], at(20), 3, OSLO))
