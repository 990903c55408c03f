"""What stands in the simulated garage: vessel, jacket, pad, fan, batch, and what may be wrong.

Settings only, with units and bounds; `garage.py` moves them. It decides nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from enum import Enum
from typing import Any

from controller.errors import SettingsError
from controller.simulation.ferment import FermentSettings
from controller.simulation.weather import WeatherSettings


class ProbeSeat(Enum):
    """Where the beer probe is."""

    WELL = "in its well"
    GARAGE = "hanging in the garage"
    PAD = "lying on the pad"


@dataclass(frozen=True, slots=True)
class Disturbance:
    """What is wrong with the plant now; the default is nothing.

    Args:
        loss_factor: multiplies every loss (a jacket left open: 3).
        pad_factor: multiplies the pad's power (unplugged: 0).
        contact_factor: multiplies the contact between pad and vessel (peeling: 0.3).
        mixing_factor: multiplies buoyant and gas stirring (heat above cold beer: 0).
        vigour: multiplies the rate of the ferment.
        garage_rise_k: what something else adds to the garage's temperature.
        seat: where the beer probe is.
    """

    loss_factor: float = 1.0
    pad_factor: float = 1.0
    contact_factor: float = 1.0
    mixing_factor: float = 1.0
    vigour: float = 1.0
    garage_rise_k: float = 0.0
    seat: ProbeSeat = ProbeSeat.WELL


# Loss in W/K of vessel and jacket together, and the heat capacity of the jacket in J/K.
# Source: plate-film and radiation correlations (Churchill; emissivity 0.9) over foam of 0.036 to
# 0.054 W/(m K) on a 20 L vessel 0.30 m across, plus 20 to 40 % for seams and base.
JACKETS = {"good": (0.85, 900.0), "thin": (2.1, 500.0), "bare": (3.6, 300.0)}


@dataclass(frozen=True, slots=True)
class GarageSettings:
    """A vessel, its jacket, pad and fan, the garage and the batch.

    Args:
        volume_l: beer. loss_w_per_k: whole loss at rest, beer to garage.
        jacket_j_per_k, vessel_j_per_k, pad_j_per_k: heat capacities.
        pad_w: the pad's power when on.
        pad_contact_w_per_k: pad to beer; 4.4 well seated, 1.3 with a millimetre of air behind it.
        fan_w_per_k: what the running fan adds to the loss; 0 is no fan.
        still_mixing_w_per_k: exchange between the two nodes of beer at rest.
        buoyant_mixing_w: what warm beer below cold adds, W/K per K^(1/3) (Nusselt ~ Rayleigh^1/3).
        stirring_per_w: what rising gas adds, W/K per W of the ferment's heat.
        well_lag_s: beer probe in its thermowell; 130 s with air in the gap, 35 s with paste.
        cutout_c: a self-resetting thermal cut-out on the pad; None leaves it out, so that a test
            shows what the software alone does. A real pad must have one.
        start_c: beer at the start; None is the garage's own temperature.
    """

    volume_l: float = 20.0
    loss_w_per_k: float = 0.85
    jacket_j_per_k: float = 900.0
    vessel_j_per_k: float = 2_500.0
    pad_w: float = 60.0
    pad_contact_w_per_k: float = 4.4
    pad_j_per_k: float = 700.0
    fan_w_per_k: float = 2.5
    still_mixing_w_per_k: float = 12.0
    buoyant_mixing_w: float = 45.0
    stirring_per_w: float = 10.0
    well_lag_s: float = 130.0
    cutout_c: float | None = None
    start_c: float | None = None
    weather: WeatherSettings = field(default_factory=WeatherSettings)
    ferment: FermentSettings = field(default_factory=FermentSettings)

    def __post_init__(self) -> None:
        for name, low, high in _BOUNDS:
            value = getattr(self, name)
            if not low <= value <= high:
                raise SettingsError(
                    f"The simulated garage cannot have {name} = {value:g}.",
                    f"Choose {name} between {low:g} and {high:g}.",
                )

    @classmethod
    def jacketed(cls, jacket: str, **changes: Any) -> GarageSettings:
        """A garage whose vessel wears a jacket of this name (good, thin, bare).

        Raises:
            SettingsError: there is no such jacket, or a value is out of bounds.
        """
        if jacket not in JACKETS:
            raise SettingsError(
                f"There is no jacket called {jacket!r}.", f"Choose one of: {', '.join(JACKETS)}."
            )
        loss_w_per_k, jacket_j_per_k = JACKETS[jacket]
        return replace(cls(loss_w_per_k=loss_w_per_k, jacket_j_per_k=jacket_j_per_k), **changes)


# Why: outside these the nodes above stop meaning anything, or the steps become too many.
_BOUNDS = (
    ("volume_l", 0.5, 500.0),
    ("loss_w_per_k", 0.05, 20.0),
    ("jacket_j_per_k", 50.0, 1e5),
    ("vessel_j_per_k", 50.0, 1e5),
    ("pad_w", 0.0, 1_000.0),
    ("pad_contact_w_per_k", 0.1, 100.0),
    ("pad_j_per_k", 50.0, 1e5),
    ("fan_w_per_k", 0.0, 50.0),
    ("still_mixing_w_per_k", 0.5, 1e4),
    ("buoyant_mixing_w", 0.0, 1e4),
    ("stirring_per_w", 0.0, 1e3),
    ("well_lag_s", 1.0, 3_600.0),
)
