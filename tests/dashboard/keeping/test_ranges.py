"""What is held is a set of numbers, however they come."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from dashboard.keeping.ranges import Ranges

NUMBERS = st.lists(st.integers(1, 40))


@given(NUMBERS)
def test_in_any_order_each_number_is_new_once_and_the_ranges_are_the_set(numbers):
    held, truth = Ranges(), set()
    for number in numbers:
        assert held.add(number) == (number not in truth)
        truth.add(number)
    through = next(n for n in range(42) if n + 1 not in truth)
    assert held.through == through
    beyond = {n for first, last in held.beyond() for n in range(first, last + 1)}
    assert beyond == {n for n in truth if n > through}
    missing = {n for first, last in held.missing() for n in range(first, last + 1)}
    assert missing == set(range(1, max(truth, default=0))) - truth


@given(NUMBERS)
def test_it_is_the_same_set_after_it_was_written_down_and_read_back(numbers):
    held = Ranges()
    for number in numbers:
        held.add(number)
    parts = held.beyond() if not held.through else ((1, held.through), *held.beyond())
    again = Ranges(parts)
    assert (again.through, again.beyond()) == (held.through, held.beyond())
    assert not any(again.add(number) for number in numbers)
