"""Messages as a person reads them on a phone."""

from __future__ import annotations

from dataclasses import replace

from dashboard.facts import GravityUnit
from dashboard.notify.decision import Bundle
from dashboard.notify.news import Message, State
from dashboard.notify.wording import LINES_MAX, TEXT_CHARACTERS_MAX, composed, merged, trial
from dashboard.sheet.units import TemperatureUnit, Units
from tests.dashboard.notify.made import NOON, ZONE, news

UNITS = Units(zone=ZONE)
AMERICAN = Units(TemperatureUnit.FAHRENHEIT, GravityUnit.PLATO, zone=ZONE)
PUBLIC = "https://barm.example/"


def test_an_alarm_says_what_is_wrong_what_to_do_and_since_when():
    message = composed(Bundle((news(1),)), NOON + 60, UNITS, PUBLIC)
    assert message.subject == "left: soon" and message.priority == "medium"
    assert message.text == (
        "The beer is at 33.8 °C, 1.2 K below its target of 35.0 °C. Look at the jacket. "
        "Since 12:00."
    )
    assert message.link == "https://barm.example/chambers/left"


def test_it_is_written_in_the_units_of_who_is_told():
    hops = news(2, text="Two thirds are done at 1.025; the beer is at 35 °C.", remedy="")
    assert composed(Bundle((hops,)), NOON, AMERICAN, "").text.replace("\u00a0", " ") == (
        "Two thirds are done at 6.3 °P; the beer is at 95 °F. Since 12:00."
    )


def test_an_end_names_what_is_over():
    over = news(3, state=State.CLEARED, text="No longer so.", true_utc_s=NOON + 3600)
    message = composed(Bundle((over,)), NOON + 3660, UNITS, "")
    assert message.subject == "left: over" and message.link == ""
    assert message.text == "Over since 13:00: beer drifting. No longer so."


def test_several_are_told_the_most_urgent_first_and_an_end_last():
    bundle = Bundle(
        (
            news(1, "clock-not-set", priority="low"),
            news(2, state=State.CLEARED),
            news(3, "pad-too-hot", priority="high", chamber="right"),
        ),
        is_flood=True,
    )
    message = composed(bundle, NOON, UNITS, PUBLIC)
    assert message.subject == "3 things at 2 places" and message.priority == "high"
    first, second, third = message.text.splitlines()
    assert first.startswith("Much is happening at once, so it is told together. right:")
    assert second.startswith("left: The beer") and third.startswith("left: Over since")
    assert message.link == PUBLIC


def test_a_storm_stays_short():
    bundle = Bundle(tuple(news(i, f"alarm-{i}", text="Long words. " * 40) for i in range(200)))
    message = composed(bundle, NOON, UNITS, "")
    assert len(message.text) <= TEXT_CHARACTERS_MAX
    short = composed(
        Bundle(tuple(news(i, f"a-{i}", text="x") for i in range(200))), NOON, UNITS, ""
    )
    assert len(short.text.splitlines()) == LINES_MAX + 1
    assert short.text.endswith(f"And {200 - LINES_MAX} more; the page has them.")


def test_the_dashboards_own_trouble_links_to_its_first_page():
    own = news(1, chamber=None, thing="dashboard/trouble", priority="high")
    message = composed(Bundle((own,)), NOON, UNITS, PUBLIC)
    assert message.subject == "The dashboard: now" and message.link == PUBLIC


def test_what_had_to_wait_becomes_one_message_with_the_newest_ones_identity():
    first = Message(4, NOON, "medium", "left: soon", "A.", "")
    message = merged((first, replace(first, id=5, priority="high", text="B.")))
    assert (message.id, message.priority) == (5, "high")
    assert message.subject == "2 messages that had to wait"
    assert message.text.splitlines()[1:] == ["left: soon. A.", "left: soon. B."]
    many = merged(tuple(replace(first, id=i) for i in range(50)))
    assert many.text.endswith("And 38 more; the page has them.")


def test_a_trial_says_that_it_is_one():
    message = trial(NOON, "phone", UNITS, PUBLIC)
    assert message.subject == "A trial for phone" and "12:00" in message.text
