"""Every cause has its words, and nights their names."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from dashboard.fermentation.account.account import Account
from dashboard.fermentation.account.sentences import in_words
from dashboard.fermentation.account.spells import Cause, Spell
from dashboard.fermentation.strains import strain

KVEIK = strain("kveik")
PITCHED_S = datetime(2026, 1, 31, 12, 0, tzinfo=UTC).timestamp()


def told(spell, zone=UTC, **changes):
    fields = {"share": 0.95, "took_h": 70.0, "usual_h": 61.0, "temperature_h": 9.0}
    fields |= {"remainder_h": 0.0, "usual_spread_h": 50.0, "signs": ()}
    account = Account(**(fields | changes), spells=(spell,), blamed=(spell.cause,))
    return in_words(account, KVEIK, PITCHED_S, zone)


def spell(cause, from_h=9.0, to_h=19.0, **changes):
    fields = {"lost_h": 5.0, "lowest_c": 26.0, "target_c": 35.0, "garage_c": -9.0}
    return Spell(cause, from_h, to_h, **(fields | {"over_garage_k": None} | changes))


@pytest.mark.parametrize(
    ("cause", "words"),
    [
        (Cause.COLD_NIGHT, "Cold cost 5 h in the night of 31 January to 1 February"),
        (Cause.WEAK_PAD, "stronger pad"),
        (Cause.WARM_UP, "It was pitched cold, at 26.0 °C"),
        (Cause.OUTAGE, "An outage cost 5 h"),
        (Cause.PROBE, "heat stays off without one"),
        (Cause.TRIP, "A tripped protection cost 5 h"),
        (Cause.RISE, "Warming to a higher target cost 5 h"),
        (Cause.NOT_HEATED, "a probe out of place"),
        (Cause.PROFILE, "The profile asked for 26 to 35 °C"),
    ],
)
def test_each_cause_has_its_words(cause, words):
    lines = told(spell(cause))
    assert words in lines[1] and lines[1].endswith(".")
    assert len(lines) == 2, "nothing is left over to explain"


def test_a_night_is_named_in_the_brewers_own_zone():
    """From 21:00 to 07:00 UTC is a night in Oslo, and in Vancouver afternoon and evening."""
    cold = spell(Cause.COLD_NIGHT)
    assert "in the night of 31 January to 1 February" in told(cold, ZoneInfo("Europe/Oslo"))[1]
    afternoon = told(cold, ZoneInfo("America/Vancouver"))[1]
    assert "from 31 January 13:00 to 31 January 23:00" in afternoon
    day = spell(Cause.COLD_NIGHT, 0.0, 5.0)
    assert "from 31 January 12:00 to 31 January 17:00" in told(day)[1]


def test_a_small_loss_keeps_its_tenth():
    assert "cost 0.8 h" in told(spell(Cause.OUTAGE, lost_h=0.8))[1]


def test_a_profile_below_the_floor_is_said_to_be():
    low = spell(Cause.PROFILE, lowest_c=12.0, target_c=12.0)
    assert "asked for 12 °C" in told(low)[1] and "Below 15 °C" in told(low)[1]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"temperature_h": -12.0}, "Warmth gained it 12 h."),
        ({"remainder_h": 20.0}, "20 h slower than usual, within"),
        ({"remainder_h": 90.0}, "90 h slower than usual, more than"),
        ({"remainder_h": -20.0}, "20 h quicker than usual, within"),
    ],
)
def test_what_is_left_is_said_with_its_spread(changes, words):
    assert words in " ".join(told(spell(Cause.OUTAGE), **changes))
