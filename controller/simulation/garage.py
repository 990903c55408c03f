r"""A garage with a vessel of beer in it: heat in, heat out, and what each probe feels.

Pure physics, repeatable by its seed, and on purpose richer than any model the controller holds:
two nodes of beer, pad, jacket, chamber air, the lag of every probe, the garage air and the
ferment's own heat. It decides nothing, reads no clock and touches no file; `world.py` moves it.

    pad --contact-- beer near the pad --mixing-- beer core --film-- chamber air --vent-- garage
      \________________ | ______________________ |
                        jacket --------------------------------------------------------- garage
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, exp

from controller.simulation.ferment import Ferment
from controller.simulation.plant import Disturbance, GarageSettings, ProbeSeat
from controller.simulation.weather import Weather

# Source: Bubnik's formula for sugar solutions, 12 % at 20 to 35 °C: 4.08 to 4.10 kJ/(L K).
BEER_J_PER_L_K = 4_100.0
# Why: the plume and the wall layer over a 0.075 m² pad; with it the apparent delay at the probe
# is 5 to 8 minutes, as a vessel of this size shows.
_NEAR_SHARE = 0.10
# Why: a pad of 0.075 m² on a vessel with some 0.5 m² of surface; half of it, because heat behind
# the pad crosses the whole jacket there while the jacket is one node here.
_PAD_SHARE = 0.075
# Why: lid and head space are about a fifth of the loss of a vessel 0.3 m across.
_LID_SHARE = 0.20
# Why: 50 L of air plus the inner skins that follow it.
_AIR_J_PER_K = 300.0
# Why: a probe bead in still air takes 5 to 11 minutes, in a draught about 2.
_STILL_AIR_LAG_S, _DRAUGHT_LAG_S = 360.0, 120.0
_PAD_PROBE_LAG_S = 30.0  # Why: taped to metal foil, almost no air between.
_GARAGE_HEATER_LAG_S = 1_800.0  # Why: a small fan heater warms a garage in about half an hour.
_FAN_SUPPLY_W = 3.0  # Why: a 120 mm fan; it sits outside the jacket, so its watts warm no beer.
_CUTOUT_HYSTERESIS_K = 15.0  # Why: what a bimetal disc of this kind lets go before it closes.
_STEP_S_MAX = 60.0  # Why: no relay decision waits longer; longer steps would blur a window.
_MIXING_K_MAX = 5.0  # Why: the steepest gradient the step size is planned for; mixing is capped.
# Why: explicit steps are stable below 2 and smooth below 1; half of that leaves room.
_STEP_SHARE_MAX = 0.5


@dataclass(frozen=True, slots=True)
class EnergyBalance:
    """All heat since the start, in J: what came in, went out and stayed."""

    pad_j: float
    ferment_j: float
    lost_j: float
    stored_j: float

    @property
    def residual_j(self) -> float:
        """What is unaccounted for; 0 but for rounding."""
        return self.pad_j + self.ferment_j - self.lost_j - self.stored_j


class Garage:
    """The garage and everything warm in it. Temperatures are the true ones, °C.

    `beer_c` is the core, where the thermowell is; `<role>_probe_c` is what a perfect probe at that
    place would show, with its lag. `energy_used_j` counts the pad's and the fan's electricity.
    """

    __slots__ = (
        "_buoyant",
        "_contact",
        "_core_j_per_k",
        "_cut_out",
        "_disturbance",
        "_dt_s",
        "_lags",
        "_mixing_max",
        "_near_j_per_k",
        "_pad_w",
        "_parts",
        "_rise_k",
        "_settings",
        "_start_c",
        "_stirring",
        "_walls",
        "_weather",
        "air_c",
        "air_probe_c",
        "beer_c",
        "beer_probe_c",
        "energy_used_j",
        "ferment",
        "ferment_j",
        "garage_c",
        "garage_probe_c",
        "jacket_c",
        "lost_j",
        "near_c",
        "pad_c",
        "pad_j",
        "pad_probe_c",
    )

    def __init__(self, settings: GarageSettings, seed: int, start_utc_s: float) -> None:
        self._settings = settings
        self._weather = Weather(settings.weather, seed, start_utc_s)
        self.ferment = Ferment(settings.ferment, settings.volume_l)
        beer_j_per_k = settings.volume_l * BEER_J_PER_L_K + settings.vessel_j_per_k
        self._near_j_per_k = beer_j_per_k * _NEAR_SHARE
        self._core_j_per_k = beer_j_per_k - self._near_j_per_k
        self.garage_c = self._weather.at(start_utc_s)
        self._start_c = self.garage_c if settings.start_c is None else settings.start_c
        self.beer_c = self.near_c = self.pad_c = self.jacket_c = self.air_c = self._start_c
        self.beer_probe_c = self.air_probe_c = self.pad_probe_c = self._start_c
        self.garage_probe_c = self.garage_c
        self.pad_j = self.ferment_j = self.lost_j = self.energy_used_j = 0.0
        self._rise_k = 0.0
        self._cut_out = False
        self.disturb(Disturbance())

    @property
    def apparent_plato(self) -> float:
        """The true apparent gravity, °P."""
        return self.ferment.apparent_plato

    def disturb(self, disturbance: Disturbance) -> None:
        """Let this, and only this, be wrong with the plant from now on."""
        settings = self._settings
        self._disturbance = disturbance
        self._pad_w = settings.pad_w * disturbance.pad_factor
        self._contact = settings.pad_contact_w_per_k * disturbance.contact_factor
        self._buoyant = settings.buoyant_mixing_w * disturbance.mixing_factor
        self._stirring = settings.stirring_per_w * disturbance.mixing_factor
        self.ferment.vigour = disturbance.vigour
        # Two conductances in series, each twice the share, make the share.
        lid = 2.0 * settings.loss_w_per_k * disturbance.loss_factor * _LID_SHARE
        wall = 2.0 * settings.loss_w_per_k * disturbance.loss_factor * (1.0 - _LID_SHARE)
        core = wall * (1.0 - _PAD_SHARE - _NEAR_SHARE)
        self._walls = (lid, wall, core, wall * _NEAR_SHARE, wall * _PAD_SHARE)
        self._dt_s = 0.0

    def step(self, dt_s: float, heat_on: bool, fan_on: bool, utc_s: float) -> None:
        """Let `dt_s` seconds (above 0, at most 60) pass, up to the true time `utc_s`."""
        if dt_s != self._dt_s:
            self._plan_steps(dt_s)
        lags = self._lags
        self._rise_k += lags[4] * (self._disturbance.garage_rise_k - self._rise_k)
        self.garage_c = self._weather.at(utc_s) + self._rise_k
        pad_w = self._pad_w if heat_on and not self._is_cut_out() else 0.0
        ferment_j = self.ferment.advance(dt_s, self.beer_c)
        self._exchange(dt_s, pad_w, ferment_j / dt_s, fan_on)
        self.pad_j += pad_w * dt_s
        self.ferment_j += ferment_j
        self.energy_used_j += (pad_w + (_FAN_SUPPLY_W if fan_on else 0.0)) * dt_s
        self._feel(lags, fan_on)

    def energy_balance(self) -> EnergyBalance:
        """Every joule since the start."""
        settings, start_c = self._settings, self._start_c
        stored_j = (
            self._core_j_per_k * (self.beer_c - start_c)
            + self._near_j_per_k * (self.near_c - start_c)
            + settings.pad_j_per_k * (self.pad_c - start_c)
            + settings.jacket_j_per_k * (self.jacket_c - start_c)
            + _AIR_J_PER_K * (self.air_c - start_c)
        )
        return EnergyBalance(self.pad_j, self.ferment_j, self.lost_j, stored_j)

    def _exchange(self, dt_s: float, pad_w: float, ferment_w: float, fan_on: bool) -> None:
        """Move heat between the nodes in as many equal parts as stay stable."""
        settings, outside_c = self._settings, self.garage_c
        core_c, near_c, pad_c, jacket_c, air_c = (
            self.beer_c, self.near_c, self.pad_c, self.jacket_c, self.air_c,
        )  # fmt: skip
        lid, wall, core_wall, near_wall, pad_wall = self._walls
        if fan_on:
            lid += 2.0 * settings.fan_w_per_k
        gentle = settings.still_mixing_w_per_k + self._stirring * ferment_w
        buoyant, contact, mixing_max = self._buoyant, self._contact, self._mixing_max
        near_w, core_w = ferment_w * _NEAR_SHARE, ferment_w * (1.0 - _NEAR_SHARE)
        parts = self._parts
        part_s = dt_s / parts
        per_core, per_near = part_s / self._core_j_per_k, part_s / self._near_j_per_k
        per_pad, per_jacket = part_s / settings.pad_j_per_k, part_s / settings.jacket_j_per_k
        per_air = part_s / _AIR_J_PER_K
        lost_w = 0.0
        for _ in range(parts):
            gradient_k = near_c - core_c
            mixing = gentle
            if gradient_k > 0.0:
                mixing += buoyant * gradient_k ** (1 / 3)
            if mixing > mixing_max:
                mixing = mixing_max
            mixed_w = mixing * gradient_k
            pad_out_w = contact * (pad_c - near_c)
            core_out_w = core_wall * (core_c - jacket_c)
            near_out_w = near_wall * (near_c - jacket_c)
            pad_back_w = pad_wall * (pad_c - jacket_c)
            film_w = lid * (core_c - air_c)
            wall_w = wall * (jacket_c - outside_c)
            vent_w = lid * (air_c - outside_c)
            core_c += per_core * (mixed_w + core_w - core_out_w - film_w)
            near_c += per_near * (pad_out_w + near_w - mixed_w - near_out_w)
            pad_c += per_pad * (pad_w - pad_out_w - pad_back_w)
            jacket_c += per_jacket * (core_out_w + near_out_w + pad_back_w - wall_w)
            air_c += per_air * (film_w - vent_w)
            lost_w += wall_w + vent_w
        self.lost_j += lost_w * part_s
        self.beer_c, self.near_c, self.pad_c = core_c, near_c, pad_c
        self.jacket_c, self.air_c = jacket_c, air_c

    def _feel(self, lags: tuple[float, ...], fan_on: bool) -> None:
        """Let every probe follow what it touches."""
        well, still, draught, on_pad, _ = lags
        seat = self._disturbance.seat
        if seat is ProbeSeat.WELL:
            self.beer_probe_c += well * (self.beer_c - self.beer_probe_c)
        elif seat is ProbeSeat.GARAGE:
            self.beer_probe_c += still * (self.garage_c - self.beer_probe_c)
        else:
            self.beer_probe_c += on_pad * (self.pad_c - self.beer_probe_c)
        self.air_probe_c += (draught if fan_on else still) * (self.air_c - self.air_probe_c)
        self.pad_probe_c += on_pad * (self.pad_c - self.pad_probe_c)
        self.garage_probe_c += still * (self.garage_c - self.garage_probe_c)

    def _is_cut_out(self) -> bool:
        """Whether the thermal cut-out on the pad is open; it closes by itself further down."""
        limit_c = self._settings.cutout_c
        if limit_c is None:
            return False
        if self.pad_c >= limit_c:
            self._cut_out = True
        elif self.pad_c < limit_c - _CUTOUT_HYSTERESIS_K:
            self._cut_out = False
        return self._cut_out

    def _plan_steps(self, dt_s: float) -> None:
        """How many parts a step of this length needs, and how far each probe gets in it."""
        assert 0.0 < dt_s <= _STEP_S_MAX, dt_s
        settings = self._settings
        lid, wall, core, near, pad = self._walls
        rate_max = settings.ferment.rate_per_h / 3600.0 / 4.0
        ferment_w_max = self.ferment.total_heat_j * rate_max
        self._mixing_max = (
            settings.still_mixing_w_per_k
            + self._buoyant * _MIXING_K_MAX ** (1 / 3)
            + self._stirring * ferment_w_max
        )
        fastest_per_s = max(
            (self._mixing_max + self._contact + near) / self._near_j_per_k,
            (self._mixing_max + core + lid + settings.fan_w_per_k * 2) / self._core_j_per_k,
            (self._contact + pad) / settings.pad_j_per_k,
            (core + near + pad + wall) / settings.jacket_j_per_k,
            (2 * lid + 4 * settings.fan_w_per_k) / _AIR_J_PER_K,
        )
        self._parts = max(1, ceil(dt_s * fastest_per_s / _STEP_SHARE_MAX))
        lags_s = (settings.well_lag_s, _STILL_AIR_LAG_S, _DRAUGHT_LAG_S, _PAD_PROBE_LAG_S)
        self._lags = tuple(1.0 - exp(-dt_s / lag_s) for lag_s in (*lags_s, _GARAGE_HEATER_LAG_S))
        self._dt_s = dt_s
