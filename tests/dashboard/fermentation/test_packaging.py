"""Packaging: what is refused, what is cautioned, and that every figure says what it rests on."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.errors import EntryError
from dashboard.fermentation.packaging import Sugar, keg_kpa, priming_g, residual_volumes
from dashboard.fermentation.terminal import Missing, Proof, Verdict

DONE = Verdict(True, ())
NOT_YET = Verdict(False, (Missing(Proof.FLAT, "It still falls.", "Wait."),))


def test_no_sugar_before_the_end_is_proved():
    with pytest.raises(EntryError) as refusal:
        priming_g(2.4, 35.0, 20.0, Sugar.SUCROSE, NOT_YET)
    assert "It still falls." in refusal.value.what and "burst" in refusal.value.remedy


def test_each_figure_states_its_convention_and_its_dangers():
    sugar = priming_g(3.4, 35.0, 20.0, Sugar.SUCROSE, DONE)
    assert "Above 3 volumes" in sugar.cautions[0]
    assert "half a" not in sugar.convention and "0 °C" in sugar.convention
    assert any("burst" in each for each in sugar.cautions)
    assert "Henry" in residual_volumes(35.0).convention
    pressure = keg_kpa(2.5, 20.0)
    assert "relief valve" in pressure.cautions[0] and "0 m above" in pressure.convention
    assert keg_kpa(2.5, 4.0).cautions == ()


def test_a_yeast_that_keeps_falling_keeps_its_caution():
    falling = Verdict(True, (), caution="It may fall for weeks.")
    assert (
        priming_g(2.4, 25.0, 20.0, Sugar.GLUCOSE, falling).cautions[0] == "It may fall for weeks."
    )


@given(st.floats(0.5, 4.0), st.floats(0.0, 40.0), st.floats(0.5, 5.0))
def test_warmer_beer_needs_more_pressure_and_more_gas_more(volumes, beer_c, warmer_k):
    assert keg_kpa(volumes, beer_c + warmer_k).value >= keg_kpa(volumes, beer_c).value
    assert keg_kpa(min(volumes + 0.1, 4.0), beer_c).value >= keg_kpa(volumes, beer_c).value


def test_a_high_place_needs_a_higher_gauge():
    """About 12 kPa less air at 1,000 m (ICAO standard atmosphere: 89.9 kPa)."""
    assert keg_kpa(2.5, 4.0, 1000.0).value - keg_kpa(2.5, 4.0).value == pytest.approx(11.4, abs=0.6)


def test_sugar_for_less_than_the_beer_holds_is_none():
    assert priming_g(0.5, 10.0, 20.0, Sugar.SUCROSE, DONE).value == 0.0


def test_beer_that_was_hot_needs_more_sugar():
    cool, hot = (priming_g(2.4, c, 20.0, Sugar.SUCROSE, DONE).value for c in (18.0, 38.0))
    assert hot > cool + 20.0


@pytest.mark.parametrize(
    "bad",
    [
        lambda: residual_volumes(95.0),
        lambda: keg_kpa(2.4, float("nan")),
        lambda: keg_kpa(9.0, 4.0),
        lambda: priming_g(2.4, 20.0, 0.0, Sugar.SUCROSE, DONE),
        lambda: priming_g(6.0, 20.0, 20.0, Sugar.SUCROSE, DONE),
    ],
)
def test_figures_out_of_range_are_refused(bad):
    with pytest.raises(EntryError):
        bad()
