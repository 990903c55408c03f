"""The tuning rule against its author's worked examples.

Source: S. Skogestad, J. Process Control 13 (2003) 291-309, examples E1 and E2 (first-order models).
"""

from __future__ import annotations

import pytest

from controller.thermal.tune import simc


@pytest.mark.parametrize(
    ("gain", "lag_s", "delay_s", "kc", "integral_s"),
    [
        # E1: 1/((s+1)(0.2s+1)) by the half rule: theta 0.1, tau1 1.1.
        (1.0, 1.1, 0.1, 5.5, 0.8),
        # E2, first order: tau1 2.5, theta 1.47.
        (1.0, 2.5, 1.47, 0.85, 2.5),
    ],
)
def test_the_published_settings(
    gain: float, lag_s: float, delay_s: float, kc: float, integral_s: float
) -> None:
    tuning = simc(gain, lag_s, delay_s)
    assert tuning.gain_per_k == pytest.approx(kc, abs=0.005)
    assert tuning.integral_s == pytest.approx(integral_s, abs=0.005)


def test_a_slow_plant_is_treated_as_integrating() -> None:
    """Kc = 1/(k' (tc + theta)), tauI = 4 (tc + theta), with k' = k/tau1 (same paper, section 4)."""
    tuning = simc(gain=70.0, lag_s=1e5, delay_s=726.0)
    assert tuning.gain_per_k == pytest.approx(1.0 / (70.0 / 1e5 * 2 * 726.0))
    assert tuning.integral_s == 4 * 2 * 726.0


def test_a_slower_loop_is_gentler() -> None:
    assert simc(1.0, 10.0, 1.0, closed_s=5.0).gain_per_k == pytest.approx(10.0 / 6.0)
