"""The first sentence and the list of troubles, as a person would read them."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from controller.decision.alarms import RULES as ALARM_RULES
from controller.decision.interlock_rules import RULES as INTERLOCK_RULES
from controller.wire import Event, Presence, Tick
from dashboard.facts import Batch, Bucket, Curve
from dashboard.sheet.seen import Seen, on_target_since_utc_s
from dashboard.sheet.sentences import first_sentence, headline
from dashboard.sheet.troubles import HELD, standing, told, troubles
from dashboard.sheet.units import Units

ZONE = ZoneInfo("Europe/Stockholm")
UNITS = Units(zone=ZONE)


def utc_s(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=ZONE).timestamp()


NOW = utc_s("2026-01-15 21:30")
TICK = Tick(
    "left",
    "b1",
    7,
    NOW,
    100.0,
    True,
    "holding",
    0.4,
    True,
    False,
    beer_c=35.0,
    garage_c=2.0,
    target_c=35.0,
)
BATCH = Batch(1, "left", "Pale", NOW - 2.5 * 86_400, 1.052, 1.012, 23.0, "kveik")
SEEN = Seen(
    "left",
    NOW,
    TICK,
    NOW,
    Presence("left", "b1", "present", NOW, "0.1.0", 5.0),
    BATCH,
    utc_s("2026-01-13 14:20"),
)


def said(**more) -> str:
    """The first sentence when the tick differs in this."""
    return first_sentence(replace(SEEN, tick=replace(TICK, **more)), UNITS).replace("\u00a0", " ")


def test_on_target():
    assert said() == "Day 3. 35.0 °C, on target since Tuesday 14:20. Heat is on."
    assert said(heat=False).endswith("Heat is off for the moment.")
    assert said(heat=False, demand=0.0).endswith("Heat and fan are off.")


def test_on_target_of_unknown_age():
    seen = replace(SEEN, on_target_since_utc_s=None)
    assert "on target. Heat is on." in first_sentence(seen, UNITS)


def test_warming():
    assert said(beer_c=24.3) == "Day 3. 24.3 °C, warming to 35.0 °C, 10.7 °C to go. Heat is on."


def test_below_target_and_heat_held_off_says_by_what():
    text = said(beer_c=33.0, heat=False, heat_permit="off", vetoes=("fan-lately",))
    assert text == (
        "Day 3. 33.0 °C, 2.0 °C below the target of 35.0 °C. "
        "Heat is held off: the fan was on within the last half hour."
    )


def test_an_interlock_of_the_fan_never_holds_the_heat_off():
    text = said(
        beer_c=33.0, heat=False, heat_permit="hold", vetoes=("garage-not-colder", "heat-dwell")
    )
    assert text.endswith("Heat is held off: the relay is resting for a moment.")


def test_above_target_cooling_and_not():
    assert said(beer_c=36.5, heat=False, fan=True).endswith(
        "36.5 °C, cooling to 35.0 °C, 1.5 °C to go. The fan is on."
    )
    assert said(beer_c=36.5, heat=False, demand=0.0).endswith(
        "36.5 °C, 1.5 °C above 35.0 °C. Heat and fan are off."
    )


def test_rising_freely_inside_a_band_is_not_off_target():
    text = said(beer_c=31.0, target_c=28.0, target_high_c=35.0, heat=False, demand=0.0)
    assert text == (
        "Day 3. 31.0 °C, rising freely between 28.0 °C and 35.0 °C. Heat and fan are off."
    )


def test_a_trip_locks_the_heat_off():
    text = said(beer_c=24.0, heat=False, trips=("heat-without-effect",), heat_permit="off")
    assert text.endswith("Heat is locked off: the pad was on and the beer did not warm.")


def test_a_lost_probe_and_no_target():
    assert said(beer_c=None, heat=False, faults={"beer": "unreadable"}, demand=0.0) == (
        "Day 3. The beer’s temperature cannot be read (unreadable). Heat and fan are off."
    )
    assert said(target_c=None, heat=False, demand=0.0) == (
        "Day 3. 35.0 °C; no target is set. Heat and fan are off."
    )


def test_silence_is_judged_by_when_it_was_heard_not_by_what_the_message_says():
    ahead = replace(SEEN, tick=replace(TICK, utc_s=NOW + 86_400))
    assert ahead.is_live and "on target" in first_sentence(ahead, UNITS)
    old = replace(SEEN, clock_utc_s=NOW + 7200)
    assert not old.is_live
    assert first_sentence(old, UNITS).replace("\u00a0", " ") == (
        "The controller has been silent since 21:30. The beer was at 35.0 °C then."
    )
    assert headline(old, UNITS) == "silent"


@pytest.mark.parametrize(("after_s", "is_silent"), [(59, False), (61, True)])
def test_a_minute_without_a_word_is_silence(after_s, is_silent):
    assert replace(SEEN, clock_utc_s=NOW + after_s).is_silent is is_silent


def test_a_slow_controller_has_six_of_its_ticks():
    slow = replace(SEEN, presence=replace(SEEN.presence, tick_s=60.0))
    assert not replace(slow, clock_utc_s=NOW + 359).is_silent
    assert replace(slow, clock_utc_s=NOW + 361).is_silent


def test_what_the_broker_says_of_a_lost_controller_is_silence_at_once():
    lost = replace(SEEN, presence=replace(SEEN.presence, state="lost"))
    assert [each.code for each in troubles(lost, UNITS)] == ["controller-silent"]


def test_stopped_on_purpose_and_never_heard():
    stopped = replace(SEEN, presence=replace(SEEN.presence, state="stopped"))
    assert first_sentence(stopped, UNITS).startswith("The controller was stopped at 21:30;")
    assert [each.code for each in troubles(stopped, UNITS)] == ["controller-stopped"]
    unheard = Seen("left", NOW)
    assert first_sentence(unheard, UNITS) == "Nothing has been heard from this chamber yet."
    assert troubles(unheard, UNITS) == () and headline(unheard, UNITS) == "not heard"


def test_a_tick_after_the_stop_means_it_runs_again():
    stopped = replace(SEEN.presence, state="stopped", utc_s=NOW - 10)
    assert replace(SEEN, presence=stopped).is_live


def test_before_pitching():
    early = replace(SEEN, batch=replace(BATCH, pitched_utc_s=NOW + 60))
    assert first_sentence(early, UNITS).startswith("Not pitched yet. ")


def event(code: str, state: str, ago_s: float = 60.0, **more) -> Event:
    text, remedy = f"{code} it is.", "Do this."
    return Event(
        "left",
        "b1",
        int(900 - ago_s),
        NOW - ago_s,
        1.0,
        True,
        code,
        state,
        text,
        **({"remedy": remedy} | more),
    )


def test_all_is_well_when_nothing_stands():
    assert troubles(SEEN, UNITS) == ()


def test_an_alarm_keeps_the_controllers_own_words():
    seen = replace(
        SEEN,
        tick=replace(TICK, alarms=("cannot-reach",)),
        standing=(event("cannot-reach", "raised", priority="medium"),),
    )
    (trouble,) = troubles(seen, UNITS)
    assert (trouble.text, trouble.remedy) == ("cannot-reach it is.", "Do this.")
    assert trouble.urgency == "Soon" and trouble.since_utc_s == NOW - 60


def test_a_newer_tick_without_the_alarm_ends_it():
    seen = replace(SEEN, standing=(event("cannot-reach", "raised", priority="medium"),))
    assert troubles(seen, UNITS) == ()


def test_an_alarm_known_from_the_tick_alone_is_still_shown():
    (trouble,) = troubles(replace(SEEN, tick=replace(TICK, alarms=("beer-drifting",))), UNITS)
    assert trouble.text == "Beer drifting." and trouble.priority == "high"


def test_one_trouble_is_told_once_though_trip_alarm_and_veto_all_say_it():
    seen = replace(
        SEEN,
        tick=replace(
            TICK,
            heat=False,
            trips=("heat-without-effect",),
            alarms=("tripped",),
            vetoes=("heat-without-effect",),
        ),
        standing=(
            event("tripped", "raised", priority="high"),
            event("heat-without-effect", "tripped", priority="high"),
        ),
    )
    assert [each.code for each in troubles(seen, UNITS)] == ["heat-without-effect"]
    lost = replace(
        SEEN,
        tick=replace(
            TICK,
            beer_c=None,
            faults={"beer": "late"},
            vetoes=("no-beer-reading",),
            alarms=("beer-probe-lost",),
        ),
        standing=(event("beer-probe-lost", "raised", priority="high"),),
    )
    assert [each.code for each in troubles(lost, UNITS)] == ["beer-probe-lost"]


def test_the_most_urgent_comes_first_and_daily_interlocks_are_no_trouble():
    seen = replace(
        SEEN,
        tick=replace(
            TICK,
            faults={"garage": "missing"},
            beer_c=None,
            vetoes=("no-beer-reading", "garage-not-colder", "heat-dwell"),
        ),
    )
    assert [each.code for each in troubles(seen, UNITS)] == ["no-beer-reading", "probe-garage"]


def test_every_interlock_of_the_controller_has_its_words_here():
    assert {rule.code for rule in INTERLOCK_RULES} == set(HELD)


def test_every_interlock_with_a_remedy_is_a_trouble_unless_a_trip_tells_it():
    for rule in INTERLOCK_RULES:
        assert bool(HELD[rule.code].text) == bool(rule.remedy and not rule.latches), rule.code


def test_what_says_a_trouble_already_exists_in_the_controller():
    from dashboard.sheet.troubles import _SAID_BY

    known = {rule.code for rule in (*INTERLOCK_RULES, *ALARM_RULES)}
    assert {code for codes in _SAID_BY.values() for code in codes} <= known


def test_standing_is_the_newest_word_on_each():
    history = (
        event("late", "raised", 300),
        event("late", "cleared", 200),
        event("beer-too-hot", "tripped", 100),
        event("cannot-reach", "raised", 90),
        event("beer-too-hot", "released", 50),
        event("step", "changed", 40),
    )
    assert [each.code for each in standing(history)] == ["cannot-reach"]


@pytest.mark.parametrize(
    ("state", "line"),
    [
        ("raised", "late it is."),
        ("cleared", "Over: late."),
        ("released", "Released: late."),
        ("tripped", "Stopped for safety. late it is."),
        ("begun", "late it is."),
    ],
)
def test_an_event_as_a_line_of_the_log(state, line):
    assert told(event("late", state), UNITS) == line


def bucket(index: int, beer_c: float | None) -> Bucket:
    return Bucket(NOW - 6000 + 600 * index, beer_c, beer_c, beer_c, 2.0, 35.0, 0.4, 0.0)


@pytest.mark.parametrize(
    ("beers", "tick", "ago_s"),
    [
        ([30.0, 34.0, 34.8, 35.1], {}, 4800),
        ([30.0, 34.0, 34.8, None], {}, 0),
        ([35.0, 35.0, 35.0, 35.0], {}, 6000),
        ([35.0], {"beer_c": 33.0}, None),
        ([35.0], {"target_c": None}, None),
        ([35.0], {"target_high_c": 38.0}, None),
    ],
)
def test_on_target_since_goes_back_to_the_last_bucket_that_was_not(beers, tick, ago_s):
    curve = Curve("left", NOW - 6000, NOW, 600.0, tuple(map(bucket, range(9), beers)))
    since = on_target_since_utc_s(curve, replace(TICK, **tick))
    assert since == (None if ago_s is None else NOW - ago_s)
