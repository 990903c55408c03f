"""The vessel as one lump of heat: what it holds, what it loses, what its pad gives and how late
that shows.

These are the numbers before anything has been learned from running; every one carries the bounds
within which a sound vessel of that description lies, and judgements use the pessimistic bound.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from controller.bounded import setting
from controller.errors import SettingsError

# Source: specific heat and density of 10 to 15 % wort by the Bubnik form (Sugar Technologists
# Manual, from memory): 4.06 to 4.10 kJ/(L K), within 2 % of water.
WORT_J_PER_L_K = 4100.0
# Source: mass times specific heat of a 20 L plastic vessel (1.3 kg at 1.9 kJ/(kg K)) and its share
# of a foam jacket, computed; it grows with the surface.
SHELL_J_PER_K_AT_20_L = 2600.0
# Why: pad, well and fittings do not shrink with the vessel, and small vessels are often of glass.
FITTINGS_J_PER_K = 1500.0
# Source: computed from free convection and radiation on a 20 L cylinder (Churchill's correlation
# for a vertical plate) and the conductivity of the foam, plus 20 to 40 % for seams and base.
LOSS_W_PER_K_AT_20_L = {"good": 0.85, "thin": 2.1, "none": 3.6}
# Source: apparent delay of the ramp seen at the probe after a step of full power, computed for a
# well-pressed pad under a 20 L vessel; 350 s for 5 L, over 900 s for a badly pressed pad.
DELAY_S = 430.0
# Source: peak power of a very fast warm ferment, 10 to 15 W in 20 L at 586 kJ per kg of extract
# (usual handbook figure for the heat of fermentation, from memory).
FERMENT_W_PER_L_MAX = 0.75
# Why: a jacket is seldom so much better than described; less loss means less excuse for a rise.
LOSS_LOW_SHARE = 0.5
# Why: the volume may be told a quarter wrong, and the pad be a quarter from its rating, at once; a
# sound vessel of that kind must never look like a fault.
CAPACITY_LOW_SHARE = 0.6
CAPACITY_HIGH_SHARE = 1.5


@dataclass(frozen=True, slots=True)
class VesselSettings:
    """What the brewer knows of the vessel."""

    volume_l: float = setting("litres of beer in the vessel", unit="L", low=1, high=1000)
    pad_w: float = setting("rated watts of the heat pad", unit="W", low=5, high=2000)
    jacket: str = setting(
        "how well it is wrapped: good (20 mm foam or more), thin (sleeve or blanket), none",
        default="good",
        words=("good", "thin", "none"),
    )
    fan_w_per_k: float = setting(
        "heat the fan carries away per kelvin the garage is colder",
        unit="W/K",
        default=2.5,
        low=0.1,
        high=100,
    )

    def in_words(self) -> str:
        """What is learned belongs to: litres, watts and jacket, as they are told in every tick."""
        return f"{self.volume_l:g} L, {self.pad_w:g} W, {self.jacket}"

    @classmethod
    def from_words(cls, words: str) -> VesselSettings | None:
        """The settings that were told in these words; None when they are none."""
        found = re.fullmatch(r"([\d.e+]+) L, ([\d.e+]+) W, (good|thin|none)", words)
        return cls(float(found[1]), float(found[2]), found[3]) if found else None


@dataclass(frozen=True, slots=True)
class Vessel:
    """A lumped vessel.

    Args:
        capacity_j_per_k: heat to warm it by one kelvin.
        loss_w_per_k: heat it loses per kelvin warmer than the garage.
        loss_low_w_per_k: the least loss a sound vessel could have.
        loss_high_w_per_k: the greatest loss it could have.
        pad_w: heat the pad gives when it is on.
        delay_s: how late the pad's heat shows at the probe.
        fan_w_per_k: heat the running fan carries away per kelvin warmer than the garage.
        ferment_w_max: the most heat the ferment itself can give.
    """

    capacity_j_per_k: float
    loss_w_per_k: float
    loss_low_w_per_k: float
    loss_high_w_per_k: float
    pad_w: float
    delay_s: float
    fan_w_per_k: float
    ferment_w_max: float

    @property
    def rise_k_per_s(self) -> float:
        """How fast the pad alone warms it, without losses, in K/s."""
        return self.pad_w / self.capacity_j_per_k

    def hold_duty(self, beer_c: float, garage_c: float) -> float:
        """The share of the pad's watts that balances the loss; may be below 0 or above 1."""
        return self.loss_w_per_k * (beer_c - garage_c) / self.pad_w


def vessel_of(settings: VesselSettings) -> Vessel:
    """The vessel as described, before anything is learned.

    Raises:
        SettingsError: the pad is absurdly strong for the volume (over 30 K/h without losses), so
            no probe could see it coming.
    """
    surface = (settings.volume_l / 20.0) ** (2.0 / 3.0)
    shell = FITTINGS_J_PER_K + SHELL_J_PER_K_AT_20_L * surface
    capacity = WORT_J_PER_L_K * settings.volume_l + shell
    loss = LOSS_W_PER_K_AT_20_L[settings.jacket] * surface
    vessel = Vessel(
        capacity_j_per_k=capacity,
        loss_w_per_k=loss,
        loss_low_w_per_k=LOSS_LOW_SHARE * loss,
        loss_high_w_per_k=max(1.5 * loss, LOSS_W_PER_K_AT_20_L["none"] * surface),
        pad_w=settings.pad_w,
        delay_s=DELAY_S,
        fan_w_per_k=settings.fan_w_per_k,
        ferment_w_max=FERMENT_W_PER_L_MAX * settings.volume_l,
    )
    rise_k_per_h = vessel.rise_k_per_s * 3600.0
    if rise_k_per_h > RISE_K_PER_H_MAX:
        raise SettingsError(
            f"vessel.pad_w: {settings.pad_w:g} W would warm {settings.volume_l:g} L by "
            f"{rise_k_per_h:.0f} K an hour, faster than a probe in a thermowell can follow.",
            f"Use a pad of at most {RISE_K_PER_H_MAX * capacity / 3600.0:.0f} W, or correct "
            "vessel.volume_l.",
        )
    return vessel


# Why: a probe in a thermowell lags by up to two minutes, in which the beer must not move by 1 K.
RISE_K_PER_H_MAX = 30.0
