"""What the pad can hold, before pitching: arithmetic of kelvins above the garage, in words."""

from __future__ import annotations

from dashboard.fermentation.strains import strain
from dashboard.sheet import reach
from dashboard.sheet.units import TemperatureUnit, Units
from tests.dashboard.lines import tick

KNOWN = tick(1, target_c=35.0, reach_garage_c=-3.0, reach_beer_c=32.0, learned_h=30.0)


def plain(*texts: str) -> str:
    return " ".join(texts).replace("\u00a0", " ")


def test_a_pad_that_was_too_weak_last_night_says_so():
    said = plain(*reach.sentences(KNOWN, Units()))
    # 38 K above the garage: 32 °C of beer in the coldest hour means a garage of -6 °C.
    assert "This pad holds 35.0 °C in a garage down to \u22123.0 °C." in said
    assert (
        "of the last day, \u22126.0 °C, it would hold no more than 32.0 °C: a better jacket" in said
    )


def test_a_strong_one_is_not_said_to_cook_the_beer():
    strong = tick(1, target_c=35.0, reach_garage_c=-3.0, reach_beer_c=60.0, learned_h=30.0)
    said = plain(*reach.sentences(strong, Units()))
    assert "22.0 °C, was warmer than that." in said and "60" not in said


def test_every_kind_of_yeast_has_its_own_garage():
    assert plain(reach.of_kind(KNOWN, strain("kveik"), Units())).endswith("down to \u22123.0 °C")
    usual_c = strain("lager").expected.usual_c
    said = plain(reach.of_kind(KNOWN, strain("lager"), Units()))
    assert said.endswith(f"down to \u2212{38.0 - usual_c:.1f} °C")
    american = Units(temperature=TemperatureUnit.FAHRENHEIT)
    assert "°F" in reach.of_kind(KNOWN, strain("kveik"), american)


def test_what_is_not_known_is_not_made_up():
    for unknown in (None, tick(1), tick(1, target_c=None, reach_garage_c=-3.0)):
        assert "not known yet" in plain(*reach.sentences(unknown, Units()))
        assert "garage" not in reach.of_kind(unknown, strain("kveik"), Units())


def test_little_knowledge_is_said_to_be_little():
    new = tick(1, target_c=35.0, reach_garage_c=-3.0, learned_h=2.0, hours_to_target=4.4)
    said = plain(*reach.sentences(new, Units()))
    assert "warm in about 4 h." in said and "not well known yet" in said
