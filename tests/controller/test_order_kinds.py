"""The table of orders: what each takes, what it refuses, and that nothing makes it fail."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.order_kinds import ARGUMENT_NAMES, KIND_BY_NAME, ORDER_KINDS, misfit

FITTING = {
    "batch": "hazy 12", "procedure": "{}", "pitched_utc_s": 1.7e9, "target_c": 22.0,
    "for_s": 3600.0, "gravity_sg": 1.02, "age_s": 60.0, "code": "late",
}  # fmt: skip
BOUNDED = [(kind, each) for kind in ORDER_KINDS for each in kind.arguments if not each.is_text]
REQUIRED = [(kind, each) for kind in ORDER_KINDS for each in kind.arguments if each.required]
TEXTS = [(kind, each) for kind in ORDER_KINDS for each in kind.arguments if each.is_text]


def full(kind):
    return {each.name: FITTING[each.name] for each in kind.arguments}


@pytest.mark.parametrize("kind", ORDER_KINDS, ids=lambda kind: kind.name)
def test_a_kind_takes_its_own_arguments_and_no_other(kind):
    assert misfit(kind.name, full(kind)) is None
    needed = {each.name: FITTING[each.name] for each in kind.arguments if each.required}
    assert misfit(kind.name, dict.fromkeys(ARGUMENT_NAMES) | needed) is None
    for foreign in set(FITTING) - set(full(kind)):
        assert f"takes no {foreign}" in misfit(kind.name, full(kind) | {foreign: FITTING[foreign]})


@pytest.mark.parametrize(("kind", "each"), REQUIRED, ids=lambda each: each.name)
def test_what_is_missing_is_named_with_its_meaning(kind, each):
    without = {name: value for name, value in full(kind).items() if name != each.name}
    assert f"needs {each.name}: {each.meaning}" in misfit(kind.name, without)


@pytest.mark.parametrize(("kind", "each"), BOUNDED, ids=lambda each: each.name)
@pytest.mark.parametrize("beyond", ["below", "above", math.nan, math.inf, True, "35"])
def test_a_number_out_of_its_bounds_is_refused_and_a_bound_is_not(kind, each, beyond):
    value = {"below": each.low - 0.01, "above": each.high * 1.01}.get(beyond, beyond)
    assert misfit(kind.name, full(kind) | {each.name: value}).startswith(each.name)
    for bound in (each.low, each.high):
        assert misfit(kind.name, full(kind) | {each.name: bound}) is None


@pytest.mark.parametrize(("kind", "each"), TEXTS, ids=lambda each: each.name)
def test_a_text_is_neither_empty_nor_too_long(kind, each):
    for bad in ("", "  ", "x" * (int(each.high) + 1), 7):
        assert misfit(kind.name, full(kind) | {each.name: bad}).startswith(each.name)


def test_a_name_is_one_line():
    assert "one line" in misfit("shelve", {"code": "la\nte", "for_s": 60.0})


def test_an_unknown_kind_is_told_which_there_are():
    told = misfit("heat-now", {})
    assert all(name in told for name in KIND_BY_NAME)


anything = st.none() | st.booleans() | st.integers() | st.floats() | st.text() | st.lists(st.text())


@given(st.text() | st.sampled_from(sorted(KIND_BY_NAME)), st.dictionaries(st.text(), anything))
def test_nothing_whatever_makes_it_fail(kind, given_arguments):
    told = misfit(kind, given_arguments)
    assert told is None or (told.endswith(".") and len(told) < 400)
