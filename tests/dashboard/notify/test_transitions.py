"""Where news comes from: events, silence, the dashboard's own trouble, alarms nobody cleared."""

from __future__ import annotations

from dataclasses import replace

import pytest

from controller.decision.alarm_rules import RULES
from controller.wire import Event, EventState, Presence, Tick
from dashboard.facts import Batch
from dashboard.notify import transitions
from dashboard.notify.news import State
from dashboard.notify.transitions import OWN, Ear
from dashboard.sheet.seen import Seen
from tests.dashboard.notify.made import NOON, news, transition

TICK = Tick(
    "left", "b1", 7, NOON, 9.0, True, "holding", 0.4, True, False, beer_c=35.0, target_c=35.0
)
BATCH = Batch(1, "left", "Pale", NOON - 86_400, 1.052, 1.012, 23.0, "kveik")
SEEN = Seen("left", NOON, TICK, NOON - 5, Presence("left", "b1", "present", NOON, "x", 5.0), BATCH)
EAR = Ear(NOON - 9000, patience_s=600.0)
NONE_OPEN: frozenset[str] = frozenset()


def event(state: str, code: str = "beer-drifting", **more) -> Event:
    return Event("left", "b1", 12, NOON, 9.0, True, code, state, "Text.", **more)


@pytest.mark.parametrize(
    ("state", "becomes"),
    [
        ("raised", State.RAISED), ("tripped", State.RAISED), ("cleared", State.CLEARED),
        ("released", State.CLEARED), ("acknowledged", State.QUIETED), ("shelved", State.QUIETED),
        ("suppressed", State.QUIETED), ("unshelved", None), ("begun", None), ("changed", None),
        ("ended", None), ("taken", None), ("refused", None), ("unheard-of", None),
    ],
)  # fmt: skip
def test_events_become_transitions_or_nothing(state, becomes):
    found = transitions.of_event(event(state))
    assert (found and found.state) == becomes


def test_every_state_of_an_event_is_decided_on():
    decided = {
        "raised", "tripped", "cleared", "released", "acknowledged", "shelved", "suppressed",
        "unshelved", "begun", "changed", "ended", "taken", "refused",
    }  # fmt: skip
    assert {each.value for each in EventState} == decided


def test_an_event_keeps_its_identity_date_words_and_priority():
    found = transitions.of_event(event("raised", priority="low", remedy="Do."))
    assert found.origin == "event/left/b1/12" and found.true_utc_s == NOON
    assert (found.thing, found.priority, found.text, found.remedy) == (
        "left/beer-drifting", "low", "Text.", "Do.",
    )  # fmt: skip


def test_a_trip_is_dangerous_and_the_alarm_that_repeats_it_is_left_out():
    assert transitions.of_event(event("tripped", "heat-while-off")).priority == "high"
    assert "tripped" in {rule.code for rule in RULES}
    assert transitions.of_event(event("raised", "tripped")) is None


def silences(seen: Seen = SEEN, is_open=NONE_OPEN, ear: Ear = EAR):
    return list(transitions.of_silence([seen], is_open, ear))


def test_silence_is_told_after_patience_and_dated_by_when_it_became_so():
    quiet = replace(SEEN, clock_utc_s=NOON + 594)
    assert silences(quiet) == []
    (found,) = silences(replace(quiet, clock_utc_s=NOON + 595))
    assert found.state is State.RAISED and found.true_utc_s == NOON + 595
    (later,) = silences(replace(quiet, clock_utc_s=NOON + 9000))
    assert later == found, "looked at later it is the same"
    assert silences(replace(quiet, clock_utc_s=NOON + 9000), frozenset({found.thing})) == []


def test_a_controller_that_is_heard_again_is_over():
    (found,) = silences(is_open=frozenset({"left/silence"}))
    assert (found.state, found.true_utc_s) == (State.CLEARED, NOON - 5)
    still = replace(SEEN, clock_utc_s=NOON + 9000)
    assert silences(still, frozenset({"left/silence"})) == []


def test_a_dashboard_that_was_away_gives_everybody_time():
    started = Ear(NOON + 7000, patience_s=600.0)
    quiet = replace(SEEN, clock_utc_s=NOON + 7599)
    assert silences(quiet, ear=started) == []
    (found,) = silences(replace(quiet, clock_utc_s=NOON + 7600), ear=started)
    assert found.true_utc_s == NOON + 7600
    unheard = replace(quiet, heard_utc_s=None, clock_utc_s=NOON + 7600)
    assert silences(unheard, ear=started) == [found]


def test_what_is_not_in_use_may_be_silent():
    idle = replace(SEEN, clock_utc_s=NOON + 9000, batch=None, tick=replace(TICK, target_c=None))
    assert silences(idle) == []
    assert silences(replace(idle, tick=None, batch=BATCH)) == []
    assert len(silences(replace(idle, batch=BATCH))) == 1


def test_a_slow_controller_is_not_silent_between_its_ticks():
    slow = replace(SEEN.presence, tick_s=600.0)
    assert silences(replace(SEEN, presence=slow, clock_utc_s=NOON + 3000)) == []


def test_a_stopped_and_a_lost_controller_are_told_apart():
    stopped = replace(SEEN, presence=replace(SEEN.presence, state="stopped"))
    (found,) = silences(replace(stopped, clock_utc_s=NOON + 700))
    assert "was stopped" in found.text
    lost = replace(SEEN, presence=replace(SEEN.presence, state="lost"))
    (found,) = silences(replace(lost, clock_utc_s=NOON + 700))
    assert "lost the controller" in found.text and "unplug it" in found.remedy


DEAF = replace(EAR, trouble="The broker does not answer.", trouble_utc_s=NOON)


def test_while_the_dashboard_hears_nothing_silence_is_no_news():
    quiet = replace(SEEN, clock_utc_s=NOON + 9000)
    assert silences(quiet, ear=DEAF) == []


def test_own_trouble_is_told_once_it_has_lasted_and_when_it_is_over():
    def found(ear, now, is_open=NONE_OPEN):
        return list(transitions.of_own_trouble(ear, is_open, now))

    assert found(DEAF, NOON + 599) == []
    (raised,) = found(DEAF, NOON + 700)
    assert raised.true_utc_s == NOON + 600 and "does not answer" in raised.text
    assert found(DEAF, NOON + 800, frozenset({OWN})) == []
    (over,) = found(EAR, NOON + 900, frozenset({OWN}))
    assert over.state is State.CLEARED and found(EAR, NOON + 900) == []


def test_an_alarm_that_ended_in_a_restart_is_over():
    raised = transition(true_utc_s=NOON - 3600)
    is_open = {raised.thing: raised}

    def over(**more):
        return list(transitions.of_forgotten(is_open, [replace(TICK, **more)]))

    (found,) = over()
    assert (found.state, found.thing, found.true_utc_s) == (State.CLEARED, raised.thing, NOON)
    assert over(alarms=("beer-drifting",)) == over(trips=("beer-drifting",)) == []
    assert over(alarm_states={"beer-drifting": "shlvd"}) == []
    assert over(utc_s=NOON - 3600) == [] and over(chamber="shed") == []
    silent = {OWN: replace(raised, origin="dashboard/trouble/1", thing=OWN, chamber=None)}
    assert list(transitions.of_forgotten(silent, [TICK])) == []


def test_what_waits_stands_unless_a_newer_tick_knows_better():
    old = news(1, true_utc_s=NOON - 3600)
    assert transitions.still([old], [TICK]) == frozenset()
    assert transitions.still([old], [replace(TICK, alarms=("beer-drifting",))]) == {
        "left/beer-drifting"
    }
    assert transitions.still([old], []) == {"left/beer-drifting"}
    assert transitions.still([news(1, true_utc_s=NOON + 5)], [TICK]) == {"left/beer-drifting"}
    agenda = news(2, true_utc_s=NOON - 3600, origin="agenda/7/hops", thing="left/hops")
    assert transitions.still([agenda], [TICK]) == {"left/hops"}
