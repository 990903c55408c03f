from __future__ import annotations

import pytest

from controller.errors import SettingsError
from controller.thermal.model import VesselSettings, vessel_of


def test_twenty_litres_hold_86_kilojoules_a_kelvin() -> None:
    # 20 L of 12 % wort at 4.1 kJ/(L K) (Bubnik's form), vessel, pad and jacket 4.1 kJ/K: computed.
    assert vessel_of(VesselSettings(20.0, 60.0)).capacity_j_per_k == pytest.approx(86_000, rel=0.01)


def test_sixty_watts_warm_them_by_two_and_a_half_kelvin_an_hour() -> None:
    vessel = vessel_of(VesselSettings(20.0, 60.0))
    assert vessel.rise_k_per_s * 3600.0 == pytest.approx(2.5, rel=0.02)


@pytest.mark.parametrize(("jacket", "hold_w"), [("good", 29.8), ("thin", 73.5), ("none", 126.0)])
def test_what_holding_35_in_a_freezing_garage_takes(jacket: str, hold_w: float) -> None:
    vessel = vessel_of(VesselSettings(20.0, 60.0, jacket))
    assert vessel.hold_duty(35.0, 0.0) * 60.0 == pytest.approx(hold_w, rel=0.01)
    assert vessel.loss_low_w_per_k < vessel.loss_w_per_k < vessel.loss_high_w_per_k


def test_loss_grows_with_the_surface_and_capacity_with_the_volume() -> None:
    small, large = (vessel_of(VesselSettings(v, 60.0)) for v in (10.0, 80.0))
    assert large.loss_w_per_k / small.loss_w_per_k == pytest.approx(4.0)
    assert 7.5 < large.capacity_j_per_k / small.capacity_j_per_k < 8.0


def test_a_pad_no_probe_could_follow_is_refused() -> None:
    with pytest.raises(SettingsError, match=r"1000 W would warm 5 L .* at most 19\d W"):
        vessel_of(VesselSettings(5.0, 1000.0))


def test_a_vessel_is_told_in_words_that_can_be_read_back() -> None:
    settings = VesselSettings(5.5, 12.5, "none")
    assert settings.in_words() == "5.5 L, 12.5 W, none"
    assert VesselSettings.from_words(settings.in_words()) == settings
    assert VesselSettings.from_words("a bucket") is None
