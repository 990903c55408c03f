r"""A vessel to be regulated, built apart from the project's own garage as a second opinion.

    pad --contact-- skin of wort --plume-- core --stillness-- base
      \_______________ | ________________ / | \_____________ /     lid: core -- head space -- garage
                       jacket (mixed from all) -- garage           probe: core -- well -- bead

Six nodes of heat and two of the probe; the controller's model has one and a delay. The plume grows
with the cube root of its temperature difference and the gas of the ferment stirs (both as in free
convection on a wall). It decides nothing and reads no clock.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from random import Random

import numpy as np

WORT_J_PER_L_K = 4_100.0
SKIN_SHARE, BASE_SHARE = 0.10, 0.10
LID_SHARE, FLOOR_SHARE, PAD_SHARE = 0.18, 0.14, 0.05
HEAD_J_PER_K = 600.0
WELL_SHARE = 0.25  # Of the probe's whole lag: the tube; the rest is the bead in it.
BEAD_IN_AIR_S = 150.0
PLUME_K_USUAL = 0.6  # Where the plume is made straight for the bound.
STEP_S = 5.0
STATES = ("pad", "skin", "core", "base", "head", "jacket")


@dataclass(frozen=True, slots=True)
class PlantSettings:
    """The true numbers; what the controller is told is the scenario's business."""

    volume_l: float = 20.0
    shell_j_per_k: float = 2_500.0
    loss_w_per_k: float = 0.85
    jacket_j_per_k: float = 900.0
    pad_w: float = 60.0
    contact_w_per_k: float = 4.2
    pad_j_per_k: float = 750.0
    fan_w_per_k: float = 2.5
    still_w_per_k: float = 18.0
    plume_w: float = 45.0
    stirring_per_w: float = 9.0
    probe_lag_s: float = 130.0
    start_c: float = 20.0


@dataclass(slots=True)
class Plant:
    """The vessel as it is now, in °C; heat since the start in J."""

    settings: PlantSettings
    loss_factor: float = 1.0
    probe_is_out: bool = False
    pad_j: float = 0.0
    ferment_j: float = 0.0
    lost_j: float = 0.0
    now_c: list[float] = field(default_factory=list)
    well_c: float = 0.0
    bead_c: float = 0.0

    def __post_init__(self) -> None:
        self.now_c = [self.settings.start_c] * len(STATES)
        self.well_c = self.bead_c = self.settings.start_c

    @property
    def beer_c(self) -> float:
        """The true beer at the thermowell: what the control is judged by."""
        return self.now_c[2]

    @property
    def pad_c(self) -> float:
        return self.now_c[0]

    def step(self, dt_s: float, heat: bool, fan: bool, garage_c: float, ferment_w: float) -> None:
        """Lets `dt_s` seconds pass, a whole number of 5 s steps."""
        for _ in range(round(dt_s / STEP_S)):
            self._part(self.settings.pad_w * heat, fan, garage_c, ferment_w)
        self.pad_j += self.settings.pad_w * heat * dt_s
        self.ferment_j += ferment_w * dt_s

    def _part(self, pad_w: float, fan: bool, garage_c: float, ferment_w: float) -> None:
        s = self.settings
        pad, skin, core, base, head, jacket = self.now_c
        capacities = capacities_of(s)
        lid, wall, core_wall, floor_wall, skin_wall, pad_wall = self._losses(fan)
        plume_k = skin - core
        plume = s.still_w_per_k + s.stirring_per_w * ferment_w
        if plume_k > 0.0:
            plume += s.plume_w * plume_k ** (1.0 / 3.0)
        still = s.still_w_per_k + s.stirring_per_w * ferment_w
        if base > core:
            still += s.plume_w * (base - core) ** (1.0 / 3.0)
        contact_w, plume_w = s.contact_w_per_k * (pad - skin), plume * plume_k
        still_w, lid_w = still * (core - base), lid * (core - head)
        core_w, floor_w = core_wall * (core - jacket), floor_wall * (base - jacket)
        skin_w, pad_back_w = skin_wall * (skin - jacket), pad_wall * (pad - jacket)
        vent_w, out_w = lid * (head - garage_c), wall * (jacket - garage_c)
        middle = 1.0 - SKIN_SHARE - BASE_SHARE
        into_w = (
            pad_w - contact_w - pad_back_w,
            contact_w - plume_w - skin_w + ferment_w * SKIN_SHARE,
            plume_w - still_w - lid_w - core_w + ferment_w * middle,
            still_w - floor_w + ferment_w * BASE_SHARE,
            lid_w - vent_w,
            core_w + floor_w + skin_w + pad_back_w - out_w,
        )
        self.now_c = [
            now_c + STEP_S * watts / capacity
            for now_c, watts, capacity in zip(self.now_c, into_w, capacities, strict=True)
        ]
        self.lost_j += STEP_S * (vent_w + out_w)
        self._feel(garage_c)

    def _losses(self, fan: bool) -> tuple[float, ...]:
        """Conductances in W/K; two alike in series make the share each."""
        s = self.settings
        whole = 2.0 * s.loss_w_per_k * self.loss_factor
        wall = whole * (1.0 - LID_SHARE)
        core = 1.0 - FLOOR_SHARE - SKIN_SHARE - PAD_SHARE
        lid = whole * LID_SHARE + (2.0 * s.fan_w_per_k if fan else 0.0)
        return (lid, wall, wall * core, wall * FLOOR_SHARE, wall * SKIN_SHARE, wall * PAD_SHARE)

    def _feel(self, garage_c: float) -> None:
        lag_s = self.settings.probe_lag_s
        well_s, bead_s = WELL_SHARE * lag_s, (1.0 - WELL_SHARE) * lag_s
        self.well_c += (self.now_c[2] - self.well_c) * STEP_S / max(well_s, STEP_S)
        if self.probe_is_out:
            self.bead_c += (garage_c - self.bead_c) * STEP_S / BEAD_IN_AIR_S
        else:
            self.bead_c += (self.well_c - self.bead_c) * STEP_S / max(bead_s, STEP_S)

    def add_cold(self, litres: float, cold_c: float) -> None:
        """Swaps so much of the core for as much liquid at `cold_c`."""
        carried_j = litres * WORT_J_PER_L_K * (self.now_c[2] - cold_c)
        self.now_c[2] -= carried_j / capacities_of(self.settings)[2]
        self.lost_j += carried_j

    def stored_j(self) -> float:
        """Heat held beyond the start."""
        start_c = self.settings.start_c
        capacities = capacities_of(self.settings)
        return sum(c * (t - start_c) for c, t in zip(capacities, self.now_c, strict=True))


def capacities_of(s: PlantSettings) -> tuple[float, ...]:
    """J/K of each node, in the order of STATES."""
    beer = s.volume_l * WORT_J_PER_L_K + s.shell_j_per_k
    shares = (SKIN_SHARE, 1.0 - SKIN_SHARE - BASE_SHARE, BASE_SHARE)
    return (s.pad_j_per_k, *(beer * share for share in shares), HEAD_J_PER_K, s.jacket_j_per_k)


def straight(
    settings: PlantSettings, loss_factor: float, ferment_w: float, plume_k: float = PLUME_K_USUAL
) -> tuple[np.ndarray, np.ndarray]:
    """The plant made linear: dx/dt = A x + B (heat 0..1, fan's W, ferment's W, garage °C).

    `plume_k` is where the plume's cube root is taken; 0 leaves only the still exchange, which is
    exact when `settings.plume_w` is 0.
    """
    plant = Plant(settings, loss_factor)
    lid, wall, core_wall, floor_wall, skin_wall, pad_wall = plant._losses(False)
    still = settings.still_w_per_k + settings.stirring_per_w * ferment_w
    plume = still + settings.plume_w * plume_k ** (1.0 / 3.0)
    links = (
        (0, 1, settings.contact_w_per_k),
        (1, 2, plume),
        (2, 3, still),
        (2, 4, lid),
        (2, 5, core_wall),
        (3, 5, floor_wall),
        (1, 5, skin_wall),
        (0, 5, pad_wall),
    )
    flow = np.zeros((6, 6))
    for one, other, conductance in links:
        flow[one, one] -= conductance
        flow[other, other] -= conductance
        flow[one, other] += conductance
        flow[other, one] += conductance
    flow[4, 4] -= lid
    flow[5, 5] -= wall
    drive = np.zeros((6, 4))
    drive[0, 0] = settings.pad_w
    drive[2, 1] = -1.0
    drive[1:4, 2] = SKIN_SHARE, 1.0 - SKIN_SHARE - BASE_SHARE, BASE_SHARE
    drive[4, 3], drive[5, 3] = lid, wall
    per = 1.0 / np.array(capacities_of(settings))
    return flow * per[:, None], drive * per[:, None]


def jittered(settings: PlantSettings, seed: int, share: float = 0.25) -> PlantSettings:
    """The same vessel with every number moved by up to `share`; seed 0 leaves it as it is."""
    if seed == 0:
        return settings
    random = Random(seed)
    moved = {}
    for name in PlantSettings.__slots__:
        factor = random.uniform(1.0 - share, 1.0 + share)
        moved[name] = getattr(settings, name) * (1.0 if name == "start_c" else factor)
    return replace(settings, **moved)
