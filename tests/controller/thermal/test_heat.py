from __future__ import annotations

import pytest

from controller.thermal.heat import ferment_heat


def test_a_ferment_never_cools_and_the_losses_daily_error_counts() -> None:
    heat = ferment_heat(-0.4, 0.3, 20.0)
    assert heat.ferment_w == 0.0
    assert heat.ferment_sd_w == pytest.approx((0.3**2 + 0.4**2) ** 0.5)
    assert not heat.is_telling


def test_a_heat_of_more_than_two_deviations_tells_something() -> None:
    assert ferment_heat(8.0, 0.5, 27.0).is_telling
    # The same heat in a vessel that loses ten times as much does not.
    assert not ferment_heat(8.0, 0.5, 270.0).is_telling
