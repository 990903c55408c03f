"""Tuning: the regulator's two numbers from the vessel's, by the SIMC rules.

Source: S. Skogestad, Simple analytic rules for model reduction and PID controller tuning, Journal
    of Process Control 13 (2003) 291-309: for a first-order plant with delay k e^(-theta s)/(tau1 s
    + 1), Kc = tau1/(k (tc + theta)) and tauI = min(tau1, 4 (tc + theta)), tight control with tc =
    theta.
"""

from __future__ import annotations

from dataclasses import dataclass

from controller.thermal.model import Vessel


@dataclass(frozen=True, slots=True)
class Tuning:
    """A proportional-integral tuning: output share per kelvin, and the integral time in s."""

    gain_per_k: float
    integral_s: float


def simc(gain: float, lag_s: float, delay_s: float, closed_s: float | None = None) -> Tuning:
    """SIMC settings of a first-order plant with delay.

    Args:
        gain: steady change of the output (K) per unit of input, above 0.
        lag_s: the plant's time constant.
        delay_s: its effective delay, above 0.
        closed_s: the wished time constant of the closed loop; None for tight control (the delay).
    """
    closed_s = delay_s if closed_s is None else closed_s
    return Tuning(
        gain_per_k=lag_s / (gain * (closed_s + delay_s)),
        integral_s=min(lag_s, 4.0 * (closed_s + delay_s)),
    )


def tuned(vessel: Vessel, cycle_s: float) -> Tuning:
    """The tuning for this vessel when its relay takes `cycle_s` for one on and off.

    Half a cycle is added to the delay: on average the relay answers that much later.
    """
    return simc(
        gain=vessel.pad_w / vessel.loss_w_per_k,
        lag_s=vessel.capacity_j_per_k / vessel.loss_w_per_k,
        delay_s=vessel.delay_s + cycle_s / 2.0,
    )
