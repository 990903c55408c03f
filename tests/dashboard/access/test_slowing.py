"""Guessing: a few misses are free, then each try waits longer, for an account and for a place."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.access import slowing
from dashboard.access.slowing import ACCOUNT_WAIT_S_MAX, ADDRESS_WAIT_S_MAX, Slowing, network


def misses(found: Slowing, count: int, account="brewer", address="10.0.0.1", now=0.0) -> float:
    """That many misses, each as soon as it may be. The time after them."""
    for _ in range(count):
        wait_s = found.begin(account, address, now)
        now += wait_s
        assert wait_s == 0 or found.begin(account, address, now) == 0
    return now


def test_five_are_free_then_the_wait_doubles():
    found = Slowing()
    assert misses(found, 5) == 0
    waits = []
    now = 0.0
    for _ in range(4):
        waits.append(found.begin("brewer", "10.0.0.1", now))
        now += waits[-1]
        assert found.begin("brewer", "10.0.0.1", now) == 0
    assert waits == [2, 4, 8, 16]


def test_an_account_is_slowed_from_wherever_and_a_place_whomever_it_names():
    found = Slowing()
    misses(found, 5)
    assert found.begin("brewer", "10.0.0.99", 0) == 2
    assert found.begin("guest", "10.0.0.1", 0) == 2
    assert found.begin("guest", "10.0.0.2", 0) == 0


def test_the_longest_waits():
    found = Slowing()
    for number in range(40):  # each from another place, so that only the account waits
        found.begin("brewer", f"10.0.{number}.1", number * 1000.0)
    assert found.begin("brewer", "10.9.9.9", 39_000.0) == ACCOUNT_WAIT_S_MAX
    for number in range(40):
        found.begin(f"name{number}", "10.8.8.8", 50_000 + number * 1000.0)
    assert found.begin("other", "10.8.8.8", 89_000.0) == ADDRESS_WAIT_S_MAX


def test_a_right_password_clears_the_account_but_not_the_places_misses():
    found = Slowing()
    misses(found, 4)
    assert found.begin("brewer", "10.0.0.1", 0) == 0
    found.was_right("brewer", "10.0.0.1")
    assert found.begin("guest", "10.0.0.1", 0) == 0  # the fifth miss of this place
    assert found.begin("guest", "10.0.0.1", 0) == 2
    assert found.begin("brewer", "10.0.0.7", 0) == 0


def test_yesterday_is_forgotten_and_a_clock_put_back_locks_nobody_out():
    found = Slowing()
    misses(found, 6)
    assert found.begin("brewer", "10.0.0.1", 2 + slowing.FORGET_S + 1) == 0
    misses(found, 6, now=200_000)
    assert found.begin("brewer", "10.0.0.1", 100_000) == 0


def test_what_is_kept_is_bounded():
    found = Slowing()
    for number in range(slowing.KEPT_MAX + 500):
        found.begin(f"name{number}", f"10.{number % 256}.{number // 256}.1", 0.0)
    assert len(found._kept) == slowing.KEPT_MAX


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("2001:db8::1", "2001:db8::ffff:1", True),
        ("2001:db8::1", "2001:db8:0:1::1", False),
        ("::ffff:10.0.0.1", "10.0.0.1", True),
        ("10.0.0.1", "10.0.0.2", False),
        ("unix", "unix", True),
    ],
)
def test_one_network_of_ipv6_is_one_place(one, other, same):
    assert (network(one) == network(other)) is same


@given(st.lists(st.floats(0, 3600), min_size=6, max_size=60))
def test_a_guesser_never_gets_more_tries_than_the_bound(gaps):
    """However the tries are spread, an account allows five at once and one a minute later on."""
    found, now, tries = Slowing(), 0.0, 0
    for gap in gaps:
        now += gap
        tries += found.begin("brewer", f"10.0.0.{tries % 250}", now) == 0
    assert tries <= 11 + now / ACCOUNT_WAIT_S_MAX
