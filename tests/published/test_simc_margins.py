"""The robustness of the tuning rule against its author's table, by a general control library.

Source: S. Skogestad, J. Process Control 13 (2003) 291-309, Table 1 (tight control, tc = theta):
first order with tau1 <= 8 theta: GM 3.14, PM 61.4 degrees, Ms 1.59, delay margin 2.14 theta;
integrating: GM 2.96, PM 46.9 degrees, Ms 1.70, delay margin 1.59 theta. The margins are computed
by python-control from the exact frequency response, delay and all.
"""

from __future__ import annotations

import cmath
import math

import control
import pytest

from controller.thermal.model import VesselSettings, vessel_of
from controller.thermal.tune import Tuning, simc, tuned


def margins(
    gain: float, lag_s: float, delay_s: float, tuning: Tuning
) -> tuple[float, float, float, float]:
    """Gain margin, phase margin in degrees, peak sensitivity, and delay margin in delays."""
    low, high = -4.0, 1.3  # decades of w times delay that hold both crossings
    count = 4_000
    omegas = [10.0 ** (low + (high - low) * place / count) / delay_s for place in range(count)]
    responses = []
    for omega in omegas:
        s = 1j * omega
        plant = gain * cmath.exp(-s * delay_s) / (lag_s * s + 1.0)
        responses.append(tuning.gain_per_k * (1.0 + 1.0 / (tuning.integral_s * s)) * plant)
    loop = control.FrequencyResponseData(responses, omegas, smooth=True)
    gain_margin, phase_deg, stability, _, crossover, _ = control.stability_margins(loop)
    return (
        gain_margin,
        phase_deg,
        1.0 / stability,
        math.radians(phase_deg) / crossover / delay_s,
    )


@pytest.mark.parametrize("lags_per_delay", [1.0, 4.0, 8.0])
def test_a_first_order_plant_has_the_published_margins(lags_per_delay: float) -> None:
    tuning = simc(gain=2.0, lag_s=lags_per_delay * 100.0, delay_s=100.0)
    found = margins(2.0, lags_per_delay * 100.0, 100.0, tuning)
    assert found == pytest.approx((3.14, 61.4, 1.59, 2.14), rel=0.004)


def test_an_integrating_plant_has_the_published_margins() -> None:
    tuning = simc(gain=1e6, lag_s=1e9, delay_s=100.0)
    assert margins(1e6, 1e9, 100.0, tuning) == pytest.approx((2.96, 46.9, 1.70, 1.59), rel=0.004)


@pytest.mark.parametrize(
    ("volume_l", "pad_w", "jacket"),
    [(20.0, 60.0, "good"), (20.0, 100.0, "thin"), (5.0, 25.0, "good"), (60.0, 200.0, "none")],
)
def test_a_vessel_as_described_is_tuned_within_the_published_margins(
    volume_l: float, pad_w: float, jacket: str
) -> None:
    """A vessel lies between the two cases; half a relay cycle counts as delay."""
    vessel = vessel_of(VesselSettings(volume_l, pad_w, jacket))
    gain, lag_s = vessel.pad_w / vessel.loss_w_per_k, vessel.capacity_j_per_k / vessel.loss_w_per_k
    gain_margin, phase_deg, peak, _ = margins(
        gain, lag_s, vessel.delay_s + 300.0, tuned(vessel, 600.0)
    )
    assert gain_margin >= 2.95
    assert phase_deg >= 46.8
    assert peak <= 1.71


def test_the_margins_still_hold_for_a_vessel_that_differs_from_its_description() -> None:
    """Before anything is learned: twice the delay, or a pad a quarter stronger, is still stable."""
    vessel = vessel_of(VesselSettings(20.0, 60.0))
    gain, lag_s = vessel.pad_w / vessel.loss_w_per_k, vessel.capacity_j_per_k / vessel.loss_w_per_k
    tuning = tuned(vessel, 600.0)
    late = margins(gain, lag_s, 2.0 * vessel.delay_s + 300.0, tuning)
    strong = margins(1.25 * gain, lag_s, vessel.delay_s + 300.0, tuning)
    assert late[0] > 1.7 and late[1] > 25.0
    assert strong[0] > 2.3 and strong[1] > 40.0
