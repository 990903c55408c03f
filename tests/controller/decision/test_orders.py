"""Every kind of order: what it does, what it refuses and says; a refusal changes nothing."""

from __future__ import annotations

from dataclasses import replace

import pytest

from controller.decision import orders
from controller.decision.alarm_memory import AlarmMemory, AlarmNow, Level
from controller.decision.alarm_rules import RULES
from controller.decision.decide import State
from controller.decision.interlock_rules import RULES as INTERLOCKS
from controller.decision.interlock_rules import InterlockMemory
from controller.decision.orders import Asked, obey
from controller.decision.profile import Begun, Hold, Profile, ProfileMemory, Step
from controller.decision.vocabulary import Evidence, Moment, Sensed
from controller.order_kinds import ORDER_KINDS
from tests.controller.decision.driving import Drive, hold, plan_for

PLAN = plan_for(Step("one", 33.0, 33.0, hold_s=3600.0), hold(36.0))
NOW = Moment(5000.0, 1.7e9)
WARM = Profile("Warm", (Step("rise", 30.0, 34.0, hold_s=7200.0), hold(34.0)))
BEER = Evidence(beer=Sensed(35.0, 0.0, fitted=True))


def asked(kind: str, profile: Profile | None = None, **given: float | str) -> Asked:
    numbers = {name: value for name, value in given.items() if not isinstance(value, str)}
    texts = {name: value for name, value in given.items() if isinstance(value, str)}
    return Asked("id-1", "phone", kind, numbers, texts, profile)


def taken(state: State, order: Asked, plan=PLAN, now: Moment = NOW) -> tuple[State, str]:
    after, answer, news = obey(plan, state, order, now)
    assert answer.taken, answer
    assert (news[-1].code, news[-1].state) == ("order", "taken")
    assert {each.order for each in news} == {"id-1"}
    assert answer.reason.endswith(".")
    return after, answer.reason


def refused(state: State, order: Asked, plan=PLAN, now: Moment = NOW) -> str:
    after, answer, news = obey(plan, state, order, now)
    assert not answer.taken
    assert after is state
    ((code, word, order_id),) = [(each.code, each.state, each.order) for each in news]
    assert (code, word, order_id) == ("order", "refused", "id-1")
    assert answer.reason in news[0].text
    assert answer.reason.endswith(".")
    return answer.reason


def alarm(code: str, **now: object) -> State:
    alarms = tuple(AlarmNow(**now) if rule.code == code else AlarmNow() for rule in RULES)
    return State(alarms=AlarmMemory(alarms))


def test_every_kind_of_the_table_is_obeyed_here_and_no_other() -> None:
    assert list(orders._KINDS) == [kind.name for kind in ORDER_KINDS]


def test_a_batch_is_begun_from_its_pitching() -> None:
    before = State(gravity_sg=1.010, profile=ProfileMemory(1, 50.0, True, 10.0, Hold(20.0)))
    order = asked("begin", WARM, batch="two", pitched_utc_s=NOW.utc_s - 900.0)
    after, reason = taken(before, order)
    assert after.begun == Begun("id-1", "two", WARM, NOW.utc_s - 900.0)
    assert after.profile == ProfileMemory(elapsed_s=900.0)
    assert after.gravity_sg is None
    assert "two follows Warm, 2 steps" in reason


@pytest.mark.parametrize(
    ("pitched_utc_s", "synced"),
    [(NOW.utc_s + 900.0, True), (NOW.utc_s - 900.0, False), (None, True)],
)
def test_without_a_past_pitching_and_a_clock_it_begins_now(
    pitched_utc_s: float | None, synced: bool
) -> None:
    given = {} if pitched_utc_s is None else {"pitched_utc_s": pitched_utc_s}
    after, _ = taken(
        State(), asked("begin", WARM, batch="two", **given), now=replace(NOW, synced=synced)
    )
    assert after.profile.elapsed_s == 0.0


def test_a_procedure_above_the_limit_and_a_batch_pitched_long_ago_are_refused() -> None:
    hot = Profile("Hot", (hold(33.0), Step("finish", 33.0, 41.5)))
    why = refused(State(), asked("begin", hot, batch="two"))
    assert "Step 2 (finish) goes to 41.5 °C, and this chamber allows 41 °C" in why
    old = asked("begin", WARM, batch="two", pitched_utc_s=NOW.utc_s - 8 * 86_400.0)
    assert "more than a week ago" in refused(State(), old)


def test_a_batch_is_ended_and_then_there_is_none_to_end() -> None:
    after, _ = taken(State(gravity_sg=1.01), asked("end"))
    assert (after.begun, after.gravity_sg) == (Begun("id-1"), None)
    assert "nothing to end" in refused(after, asked("end"))
    assert "nothing to end" in refused(State(), asked("end"), plan=plan_for())
    taken(State(profile=ProfileMemory(hold=Hold(20.0))), asked("end"), plan=plan_for())


def test_a_temperature_is_held_for_a_time_or_until_resumed() -> None:
    after, reason = taken(State(), asked("hold", target_c=22.0, for_s=5400.0))
    assert after.profile.hold == Hold(22.0, 5400.0)
    assert "22.0 °C for 90 min" in reason
    again, reason = taken(after, asked("hold", target_c=24.0))
    assert again.profile.hold == Hold(24.0, None)
    assert "until resumed" in reason


@pytest.mark.parametrize("target_c", [41.01, 45.0])
def test_a_hold_above_the_limit_is_refused_with_what_to_do(target_c: float) -> None:
    why = refused(State(), asked("hold", target_c=target_c))
    assert "above the 41 °C this chamber allows" in why
    assert "limits.beer_c_max" in why


def test_a_hold_is_resumed_once() -> None:
    held = State(profile=ProfileMemory(1, 50.0, True, 10.0, Hold(22.0)))
    after, reason = taken(held, asked("resume"))
    assert after.profile == replace(held.profile, hold=None)
    assert "goes on where it waited" in reason
    assert "nothing to resume" in refused(after, asked("resume"))
    _, reason = taken(held, asked("resume"), plan=plan_for())
    assert "heat and fan stay off" in reason


def test_the_next_step_begins_anew_and_after_the_last_there_is_none() -> None:
    after, reason = taken(State(profile=ProfileMemory(0, 50.0, True)), asked("next"))
    assert (after.profile.index, after.profile.elapsed_s) == (1, 0.0)
    assert reason == "Step 2 of 2: hold."
    assert "last step" in refused(after, asked("next"))
    assert "resume it first" in refused(
        State(profile=ProfileMemory(hold=Hold(22.0))), asked("next")
    )
    assert "no next step" in refused(State(), asked("next"), plan=plan_for())


def test_a_gravity_ends_the_step_that_waits_for_it() -> None:
    plan = plan_for(Step("until", 33.0, 33.0, end_sg=1.020), hold(36.0))
    drive = Drive(plan, beer_c=33.0).run(0.1)
    drive.state, reason = taken(drive.state, asked("gravity", gravity_sg=1.0195, age_s=0.0), plan)
    assert reason == "The gravity is 1.0195."
    assert drive.turn().target.step == 2
    assert "no step waits" in refused(State(), asked("gravity", gravity_sg=1.02), plan_for())


def test_one_alarm_or_all_of_them_are_acknowledged() -> None:
    up = {"level": Level.UP, "needs_ack": True}
    after, _ = taken(alarm("late", **up), asked("acknowledge", code="late"))
    assert after.alarms.states == {"late": "acked"}
    over, _ = taken(alarm("late", needs_ack=True), asked("acknowledge"))
    assert over.alarms.states == {}
    same, reason = taken(over, asked("acknowledge"))
    assert (same, reason) == (over, "There was nothing left to acknowledge.")
    assert "No alarm is called nonsense" in refused(State(), asked("acknowledge", code="nonsense"))


def test_a_trip_is_acknowledged_by_its_own_name() -> None:
    state = replace(
        alarm("tripped", level=Level.UP, needs_ack=True),
        interlocks=InterlockMemory(trips=("beer-too-hot",)),
    )
    after, _ = taken(state, asked("acknowledge", code="beer-too-hot"))
    assert after.alarms.states == {"tripped": "acked"}


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.code)
def test_only_what_does_not_ask_to_act_at_once_is_shelved(rule) -> None:
    order = asked("shelve", code=rule.code, for_s=3600.0)
    if rule.priority == "high":
        assert "never kept quiet" in refused(State(), order)
    else:
        after, _ = taken(State(), order)
        assert after.alarms.states == {rule.code: "shlvd"}


@pytest.mark.parametrize("rule", INTERLOCKS, ids=lambda rule: rule.code)
def test_no_interlock_is_ever_shelved(rule) -> None:
    assert "never kept quiet" in refused(State(), asked("shelve", code=rule.code, for_s=60.0))


def test_what_is_not_an_alarm_or_not_shelved_cannot_be() -> None:
    assert "No alarm" in refused(State(), asked("shelve", code="x", for_s=60.0))
    assert "is not kept quiet" in refused(State(), asked("unshelve", code="late"))
    after, _ = taken(alarm("late", shelved_until_mono_s=9e9), asked("unshelve", code="late"))
    assert after.alarms.alarms[[r.code for r in RULES].index("late")].shelved_until_mono_s == 5000.0


LATCHING = [rule for rule in INTERLOCKS if rule.latches]


def stopped(code: str, evidence: Evidence = BEER) -> State:
    return State(interlocks=InterlockMemory(trips=(code,)), evidence=evidence)


@pytest.mark.parametrize("rule", LATCHING, ids=lambda rule: rule.code)
def test_a_trip_is_released_from_afar_unless_somebody_must_stand_there(rule) -> None:
    order = asked("release", code=rule.code)
    if rule.at_machine:
        why = refused(stopped(rule.code), order)
        assert "barmkeep release" in why and rule.code in why
    else:
        after, _ = taken(stopped(rule.code), order)
        assert after.interlocks.trips == ()


@pytest.mark.parametrize(
    ("evidence", "why"),
    [
        (Evidence(), "cannot be read"),
        (Evidence(beer=Sensed(42.0, 0.0, fitted=True)), "let it cool first"),
        (replace(BEER, pad=Sensed(fitted=True)), "The pad"),
        (replace(BEER, pad=Sensed(60.0, 0.0, fitted=True)), "The pad"),
    ],
)
def test_no_trip_is_released_blind_or_above_a_limit(evidence: Evidence, why: str) -> None:
    order = asked("release", code="beer-too-hot")
    assert why in refused(stopped("beer-too-hot", evidence), order)


def test_what_does_not_stand_cannot_be_released() -> None:
    for code in ("beer-too-hot", "nonsense", "heat-dwell"):
        assert "nothing to release" in refused(State(), asked("release", code=code))


def test_the_same_order_twice_leaves_what_it_left_once() -> None:
    for order in (
        asked("hold", target_c=22.0, for_s=600.0),
        asked("begin", WARM, batch="two", pitched_utc_s=NOW.utc_s),
        asked("gravity", gravity_sg=1.02),
        asked("shelve", code="late", for_s=600.0),
    ):
        once, _ = taken(State(), order)
        twice, _ = taken(once, order)
        assert once == twice
