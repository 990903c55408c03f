"""What is told and what is not: once, in time, never in a storm, and at night only danger."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dashboard.notify.decision import (
    FLOOD_MESSAGES,
    FLOOD_S,
    Decision,
    Outcome,
    Past,
    Rules,
    decide,
)
from dashboard.notify.news import News, State
from tests.dashboard.notify.made import NOON, ZONE, at, news

RULES = Rules(zone=ZONE)
NIGHT = Rules(quiet=(22 * 60, 7 * 60), zone=ZONE)
RAISED, CLEARED, QUIETED = State
NOTHING = Past()
THING = "left/beer-drifting"
KNOWN = Past(told_utc_s={THING: NOON - 7200})


def decided(
    *waiting: News, rules: Rules = RULES, past: Past = NOTHING, now: float = NOON, standing=None
) -> Decision:
    stands = {each.transition.thing for each in waiting} if standing is None else standing
    return decide(rules, waiting, past, frozenset(stands), now)


def numbers(decision: Decision) -> list[list[int]]:
    return [[each.id for each in bundle.news] for bundle in decision.bundles]


def test_one_raise_is_one_message():
    decision = decided(news(1))
    assert numbers(decision) == [[1]] and decision.outcomes == {1: Outcome.TOLD}


def test_a_clear_is_told_when_its_raise_was():
    assert numbers(decided(news(2, state=CLEARED), past=KNOWN)) == [[2]]
    decision = decided(news(2, state=CLEARED))
    assert numbers(decision) == [] and decision.outcomes == {2: Outcome.RAISE_NOT_TOLD}


def test_a_clear_of_what_was_only_seen_is_told_too():
    past = replace(KNOWN, quieted=frozenset({THING}))
    assert numbers(decided(news(2, state=CLEARED), past=past)) == [[2]]


def test_a_clear_that_is_worth_no_message_is_settled_without_one():
    decision = decided(news(2, state=CLEARED, says_over=False), past=KNOWN)
    assert numbers(decision) == [] and decision.outcomes == {2: Outcome.NO_MESSAGE}


def test_what_is_over_before_it_was_told_is_not_told():
    decision = decided(news(1), news(2, state=CLEARED))
    assert numbers(decision) == []
    assert decision.outcomes == {1: Outcome.OVER_BEFORE, 2: Outcome.RAISE_NOT_TOLD}


def test_what_a_person_has_seen_before_it_was_told_is_not_told():
    decision = decided(news(1), news(2, state=QUIETED))
    assert numbers(decision) == []
    assert decision.outcomes == {1: Outcome.SEEN, 2: Outcome.NO_MESSAGE}


def test_over_again_and_over_while_waiting_leaves_the_first_clear():
    waiting = (news(2, state=CLEARED), news(3), news(4, state=CLEARED))
    assert numbers(decided(*waiting, past=KNOWN)) == [[2]]


def test_the_end_of_what_was_told_is_told_though_it_was_raised_anew_meanwhile():
    shelved = replace(KNOWN, quieted=frozenset({THING}))
    decision = decided(news(3), news(4, state=CLEARED), past=shelved)
    assert numbers(decision) == [[4]] and decision.outcomes[3] is Outcome.OVER_BEFORE


def test_a_raise_anew_within_the_hour_is_known_already_unless_it_was_shelved():
    lately = Past(told_utc_s={THING: NOON - 600})
    assert decided(news(3), past=lately).outcomes == {3: Outcome.TOLD_BEFORE}
    assert numbers(decided(news(3), past=replace(lately, quieted=frozenset({THING})))) == [[3]]
    assert numbers(decided(news(3), past=KNOWN)) == [[3]]


@pytest.mark.parametrize(("least", "told"), [("high", 1), ("medium", 2), ("low", 3)])
def test_what_is_not_important_enough_is_not_told(least, told):
    waiting = [news(i, p, priority=p) for i, p in enumerate(("high", "medium", "low"))]
    decision = decided(*waiting, rules=replace(RULES, least=least))
    assert len(decision.bundles) == told
    assert list(decision.outcomes.values()).count(Outcome.NOT_IMPORTANT) == 3 - told


def test_news_of_a_long_outage_is_told_only_if_it_still_stands():
    old = news(1, true_utc_s=NOON - 5 * 86_400, noticed_utc_s=NOON)
    assert decided(old, standing=()).outcomes == {1: Outcome.HISTORY}
    assert numbers(decided(old, standing=(THING,))) == [[1]]


def test_quiet_hours_hold_everything_but_danger():
    night = at("15 23:10")
    waiting = (
        news(1, "cannot-reach", true_utc_s=night),
        news(2, "pad-too-hot", true_utc_s=night, priority="high"),
        news(3, state=CLEARED, true_utc_s=night),
    )
    decision = decided(*waiting, rules=NIGHT, past=KNOWN, now=night)
    assert numbers(decision) == [[2]] and set(decision.outcomes) == {2}


def test_what_waited_through_the_night_comes_in_the_morning_in_one_message():
    night, morning = at("15 23:10"), at("16 07:00")
    waiting = (
        news(1, "cannot-reach", true_utc_s=night),
        news(2, "beer-drifting", true_utc_s=night + 60),
        news(3, "clock-not-set", true_utc_s=night + 90),
        news(4, "clock-not-set", CLEARED, true_utc_s=night + 900),
    )
    assert numbers(decided(*waiting, rules=NIGHT, now=morning - 60)) == []
    decision = decided(*waiting, rules=NIGHT, now=morning)
    assert numbers(decision) == [[1, 2]] and not decision.bundles[0].is_flood
    assert decision.outcomes[3] is Outcome.OVER_BEFORE


@pytest.mark.parametrize(
    ("quiet", "when", "is_quiet"),
    [
        ((22 * 60, 7 * 60), "15 21:59", False),
        ((22 * 60, 7 * 60), "15 22:00", True),
        ((22 * 60, 7 * 60), "16 06:59", True),
        ((22 * 60, 7 * 60), "16 07:00", False),
        ((13 * 60, 14 * 60), "15 13:30", True),
        ((13 * 60, 14 * 60), "15 14:00", False),
        ((0, 0), "15 03:00", False),
    ],
)
def test_quiet_hours_are_read_from_the_clock_on_the_wall(quiet, when, is_quiet):
    assert replace(RULES, quiet=quiet).are_quiet(at(when)) is is_quiet


def test_quiet_hours_follow_the_change_of_the_clocks():
    # Source: EU directive 2000/84/EC: 25 October 2026, 3:00 summer time becomes 2:00.
    rules = Rules(quiet=(60, 3 * 60), zone=ZONE)
    first = at("15 00:00") + (283 * 24 - 1) * 3600  # 25 October 2026, 00:00 summer time
    quiet = [rules.are_quiet(first + minutes * 60) for minutes in range(0, 6 * 60, 10)]
    assert quiet.count(True) == 3 * 6  # 1:00 to 3:00 lasts three hours that night


def storm(count: int, start: int = 1, when: float = NOON, **more) -> list[News]:
    return [news(start + i, f"alarm-{start + i}", true_utc_s=when, **more) for i in range(count)]


def test_as_many_as_the_limit_are_told_one_by_one():
    assert len(decided(*storm(FLOOD_MESSAGES)).bundles) == FLOOD_MESSAGES


def test_a_storm_is_one_summary():
    decision = decided(*storm(30))
    assert [len(each) for each in numbers(decision)] == [30] and decision.bundles[0].is_flood
    assert set(decision.outcomes.values()) == {Outcome.TOLD}


def test_a_storm_in_drops_ends_in_one_summary_and_then_waits():
    past = Past(message_utc_s=tuple(NOON - 500 + i for i in range(FLOOD_MESSAGES)))
    decision = decided(news(11), past=past)
    assert decision.bundles[0].is_flood
    after = replace(past, summary_utc_s=NOON)
    later = NOON + 90
    assert decided(news(12, true_utc_s=later), past=after, now=later).bundles == ()
    ended = NOON + FLOOD_S
    waiting = storm(3, 12, NOON + 90)
    assert numbers(decided(*waiting, past=after, now=ended)) == [[12, 13, 14]]


def test_danger_in_a_flood_waits_a_minute_and_not_ten():
    after = Past(summary_utc_s=NOON)
    danger = news(12, "pad-too-hot", true_utc_s=NOON + 5, priority="high")
    assert decided(danger, past=after, now=NOON + 59).bundles == ()
    decision = decided(danger, past=after, now=NOON + 60)
    assert numbers(decision) == [[12]] and decision.bundles[0].is_flood


CODES = st.sampled_from(["a", "b", "c"])
DEEDS = st.lists(st.tuples(CODES, st.sampled_from(list(State)), st.integers(0, 900)), max_size=40)


@settings(max_examples=150, deadline=None)
@given(DEEDS, st.sampled_from([RULES, NIGHT]), st.sampled_from([NOON, at("15 21:55")]))
def test_whatever_happens_nothing_is_told_twice_nor_a_clear_without_its_raise(deeds, rules, now):
    past, waiting, told = Past(), [], []
    for number, (code, state, wait_s) in enumerate(deeds):
        now += wait_s
        waiting.append(news(number, code, state, now))
        decision = decided(*waiting, rules=rules, past=past, now=now)
        assert not set(decision.outcomes) - {each.id for each in waiting}
        for bundle in decision.bundles:
            told += [each.transition for each in bundle.news]
        past = after(past, waiting, decision, now)
        waiting = [each for each in waiting if each.id not in decision.outcomes]
        assert len(past.message_utc_s) <= FLOOD_MESSAGES + 1
    assert len({each.origin for each in told}) == len(told)
    for code in "abc":
        states = [each.state for each in told if each.thing == f"left/{code}"]
        assert states[:1] in ([], [RAISED])
        assert all(pair != (CLEARED, CLEARED) for pair in pairwise(states))


def after(past: Past, waiting, decision: Decision, now: float) -> Past:
    """What the store would answer next time, worked out the plain way."""
    told, quieted = dict(past.told_utc_s), set(past.quieted)
    for each in waiting:
        thing, state = each.transition.thing, each.transition.state
        outcome = decision.outcomes.get(each.id)
        if outcome is Outcome.TOLD and state is RAISED:
            told[thing] = now
            quieted.discard(thing)
        elif outcome is not None and state is CLEARED:
            told.pop(thing, None) if outcome is Outcome.TOLD else None
        elif outcome is not None and state is QUIETED:
            quieted.add(thing)
    times = [each for each in past.message_utc_s if now - each < FLOOD_S]
    times += [now for _ in decision.bundles]
    is_flood = any(each.is_flood for each in decision.bundles)
    return Past(told, frozenset(quieted), tuple(times), now if is_flood else past.summary_utc_s)
