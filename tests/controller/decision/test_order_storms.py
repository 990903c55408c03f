"""Any sequence of orders, valid or hostile, with any readings: what must never be never is."""

from __future__ import annotations

import math
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from controller.decision.alarm_memory import AlarmState
from controller.decision.alarm_rules import RULES as ALARMS
from controller.decision.decide import State, decide
from controller.decision.interlock_rules import FAN_DWELL_S, HEAT_DWELL_S, InterlockSettings
from controller.decision.interlock_rules import RULES as INTERLOCKS
from controller.decision.orders import Asked, obey
from controller.decision.profile import Profile, Step
from controller.decision.vocabulary import Applied, Fault, Moment, Reading, Role
from controller.order_kinds import KIND_BY_NAME, ORDER_KINDS, misfit
from tests.controller.decision.driving import TICK_S, hold, plan_for
from tests.controller.decision.test_decide import readings_c

LIMITS = InterlockSettings(beer_c_max=42.0, pad_c_max=60.0)
PLAN = plan_for(Step("a", 20.0, 33.0, hold_s=3600.0), hold(35.0), interlocks=LIMITS)
CODES = [rule.code for rule in (*ALARMS, *INTERLOCKS)] + ["", "nonsense", "💥"]
AT_MACHINE = {rule.code for rule in INTERLOCKS if rule.at_machine}

steps = st.builds(
    Step,
    st.just("s"),
    st.floats(-2.0, 45.0),
    st.floats(-2.0, 45.0),
    st.none() | st.floats(1.0, 1e6),
    st.none() | st.floats(0.98, 1.17),
    st.booleans(),
)
profiles = st.builds(Profile, st.just("p"), st.lists(steps, min_size=1, max_size=4).map(tuple))


@st.composite
def any_order(draw) -> Asked:
    """An order that fits its row, as it comes through the door."""
    kind = draw(st.sampled_from(ORDER_KINDS))
    numbers: dict[str, float] = {}
    texts: dict[str, str] = {}
    for each in kind.arguments:
        if each.name == "procedure" or (not each.required and draw(st.booleans())):
            continue
        if each.is_text:
            texts[each.name] = draw(st.sampled_from([c for c in CODES if c]))
        else:
            numbers[each.name] = draw(st.floats(each.low, each.high))
    profile = draw(profiles) if kind.name == "begin" else None
    fits = numbers | texts | ({"procedure": "{}"} if profile else {})
    assert misfit(kind.name, fits) is None
    return Asked(draw(st.uuids()).hex, "storm", kind.name, numbers, texts, profile)


turns = st.tuples(
    readings_c,
    readings_c,
    readings_c,
    st.lists(any_order(), max_size=3),
    st.integers(1, 12),
    st.floats(0.0, 200.0),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(turns, min_size=1, max_size=10))
def test_no_orders_and_no_readings_ever_give_what_must_not_be(stretches) -> None:
    state, now_s = State(), 1000.0
    changed_s = {"heat": -math.inf, "fan": -math.inf}
    good_s = -math.inf
    for beer, garage, pad, given_orders, count, gap_s in stretches:
        trips = set(state.interlocks.trips)
        for order in given_orders:
            now = Moment(now_s, 1.7e9 + now_s)
            before = state
            state, answer, news = obey(PLAN, state, order, now)
            assert answer.taken or state is before
            assert answer.reason.endswith(".") and news[-1].order == order.id
            assert state.applied is before.applied, "an order never touches a relay"
        assert trips & AT_MACHINE <= set(state.interlocks.trips)
        for turn in range(count):
            now_s += gap_s if turn == 0 else TICK_S
            said = ((Role.BEER, beer), (Role.GARAGE, garage), (Role.PAD, pad))
            readings = tuple(
                Reading(role, now_s, fault=value)
                if isinstance(value, Fault)
                else Reading(role, now_s, value_c=value)
                for role, value in said
            )
            if not isinstance(beer, Fault) and -20.0 <= beer <= 60.0:
                good_s = now_s
            before = state.applied
            state, decision = decide(PLAN, state, readings, Moment(now_s, 1.7e9 + now_s))
            command = decision.command
            if command.heat or command.fan:
                assert decision.evidence.beer.value_c is not None
                assert now_s - good_s <= 60.0
            if command.heat:
                assert not decision.trips
                assert decision.evidence.beer.value_c < LIMITS.beer_c_max
                assert decision.evidence.pad.value_c < LIMITS.pad_c_max
            if decision.target is not None:
                assert decision.target.high_c <= LIMITS.beer_c_max - 1.0
            for name, least_s in (("heat", HEAT_DWELL_S), ("fan", FAN_DWELL_S)):
                was, is_on = getattr(before, name), getattr(command, name)
                if was != is_on:
                    is_safety_off = was and getattr(decision.permits, name) == 2
                    assert is_safety_off or now_s - changed_s[name] >= least_s
                    changed_s[name] = now_s
            for code, alarm in state.alarms.states.items():
                rule = next(each for each in ALARMS if each.code == code)
                assert alarm is not AlarmState.SHLVD or rule.may_be_shelved
                assert alarm is not AlarmState.SHLVD or code not in decision.alarms
            state = replace(state, applied=Applied(command.heat, command.fan, True, True))


def test_the_storm_knows_every_kind() -> None:
    assert {each.name for each in ORDER_KINDS} == set(KIND_BY_NAME)
