"""Whether the account names the true cause first. `python -m tests.bench.account`

Batches are brewed in the simulated garage, each with one thing wrong, by a plain thermostat; the
account is given what a brewer would have: hourly means, what the relay did, and noisy hydrometer
readings once or twice a day. Vigour, the yeast's own cardinal temperatures (never ours), the
garage, a slightly cool pitch, the first reading and the noise differ from batch to batch. Batches
with nothing wrong are there too: nothing may be blamed for more than a few hours.
"""

from __future__ import annotations

import random
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace

from controller.simulation.ferment import FermentSettings
from controller.simulation.garage import Garage
from controller.simulation.plant import Disturbance, GarageSettings
from controller.simulation.weather import ColdSnap, WeatherSettings
from dashboard.fermentation.account.account import Account, Told, account_of
from dashboard.fermentation.account.lived import LivedHour, Trouble
from dashboard.fermentation.account.signatures import Signature
from dashboard.fermentation.account.spells import Cause
from dashboard.fermentation.course.kinetics import Reading
from dashboard.fermentation.gravity import sg_from_plato
from dashboard.fermentation.strains import strain

STEP_S = 60.0
START_UTC_S = 1_767_265_200.0  # 1 January 2026, 11:00 UTC.
EACH = 10


@dataclass(frozen=True)
class Brew:
    """One batch to simulate. `off_h` is when the power is out."""

    slug: str
    target_c: float
    days: float
    garage: GarageSettings
    off_h: tuple[float, float] = (0.0, 0.0)
    disturbance: Disturbance = Disturbance()


def kveik(dice: random.Random, **changes: object) -> Brew:
    ferment = FermentSettings(
        rate_per_h=0.16 * dice.uniform(0.8, 1.25),
        coldest_c=dice.uniform(3.0, 8.0),
        best_c=dice.uniform(35.0, 38.5),
        hottest_c=dice.uniform(43.5, 46.0),
    )
    garage = GarageSettings(
        ferment=ferment,
        start_c=dice.uniform(31.5, 34.7),
        weather=WeatherSettings(mean_c=dice.uniform(2.0, 6.0), swing_k=dice.uniform(2.0, 4.0)),
    )
    return replace(Brew("kveik", 35.0, 5.0, garage), **changes)  # type: ignore[arg-type]


def ale(dice: random.Random, **changes: object) -> Brew:
    ferment = FermentSettings(
        rate_per_h=0.116 * dice.uniform(0.8, 1.25),
        coldest_c=dice.uniform(2.0, 6.0),
        best_c=dice.uniform(30.0, 33.5),
        hottest_c=dice.uniform(40.0, 44.0),
    )
    garage = GarageSettings(
        ferment=ferment,
        start_c=dice.uniform(16.0, 18.9),
        weather=WeatherSettings(mean_c=dice.uniform(4.0, 8.0), swing_k=dice.uniform(2.0, 4.0)),
    )
    return replace(Brew("clean-ale", 19.0, 10.0, garage), **changes)  # type: ignore[arg-type]


def cold_nights(dice: random.Random) -> Brew:
    """A thin jacket and a frost: the pad holds by day and not in the night."""
    brew = kveik(dice)
    first_h = dice.uniform(6.0, 12.0)
    snaps = tuple(
        ColdSnap(first_h + 24.0 * k, 3.0, dice.uniform(18.0, 26.0), 8.0, 3.0) for k in (0, 1)
    )
    weather = replace(brew.garage.weather, cold_snaps=snaps, mean_c=dice.uniform(8.0, 10.0))
    garage = GarageSettings.jacketed(
        "thin",
        ferment=brew.garage.ferment,
        start_c=brew.garage.start_c,
        pad_w=70.0,
        weather=weather,
    )
    return replace(brew, garage=garage)


def weak_pad(dice: random.Random) -> Brew:
    brew = kveik(dice)
    return replace(brew, garage=replace(brew.garage, pad_w=dice.uniform(8.0, 20.0)))


def low_pitch(dice: random.Random) -> Brew:
    brew = ale(dice)
    ferment = replace(brew.garage.ferment, first_share=dice.uniform(0.0003, 0.0015))
    return replace(brew, garage=replace(brew.garage, ferment=ferment))


def early_stop(dice: random.Random) -> Brew:
    brew = dice.choice((kveik, ale))(dice)
    ferment = replace(brew.garage.ferment, final_plato=dice.uniform(4.2, 5.5))
    return replace(brew, garage=replace(brew.garage, ferment=ferment))


def outage(dice: random.Random) -> Brew:
    brew = kveik(dice)
    from_h = dice.uniform(8.0, 20.0)
    return replace(brew, off_h=(from_h, from_h + dice.uniform(9.0, 20.0)))


def slow_throughout(dice: random.Random) -> Brew:
    """Hungry yeast: every hour is worth half."""
    return replace(ale(dice), days=14.0, disturbance=Disturbance(vigour=dice.uniform(0.4, 0.5)))


def pitched_cold(dice: random.Random) -> Brew:
    brew = kveik(dice)
    return replace(brew, garage=replace(brew.garage, start_c=dice.uniform(10.0, 16.0)))


def low_profile(dice: random.Random) -> Brew:
    target_c = dice.uniform(25.0, 28.0)
    brew = kveik(dice)
    return replace(brew, target_c=target_c, garage=replace(brew.garage, start_c=target_c - 0.3))


def nothing(dice: random.Random) -> Brew:
    return dice.choice((kveik, ale))(dice)


KNOWN: dict[str, tuple[Callable[[random.Random], Brew], set[Cause | Signature]]] = {
    "cold nights": (cold_nights, {Cause.COLD_NIGHT}),
    "weak pad": (weak_pad, {Cause.WEAK_PAD}),
    "low pitch": (low_pitch, {Signature.LOW_PITCH}),
    "early stop": (early_stop, {Signature.STOPPED}),
    "outage": (outage, {Cause.OUTAGE}),
    "hungry yeast": (slow_throughout, {Signature.LOW_NUTRIENT}),
    "pitched cold": (pitched_cold, {Cause.WARM_UP}),
    "low profile": (low_profile, {Cause.PROFILE}),
}


def brewed(brew: Brew, dice: random.Random) -> tuple[Told, list[LivedHour], float]:
    """What a brewer would know of the batch, and the hours it truly took to 95 %."""
    garage = Garage(brew.garage, dice.randrange(10_000), START_UTC_S)
    garage.disturb(brew.disturbance)
    hours: list[LivedHour] = []
    readings: list[Reading] = []
    next_h, heat_on = dice.uniform(8.0, 14.0), False
    steps = int(3600 / STEP_S)
    for hour in range(int(brew.days * 24)):
        is_off = brew.off_h[0] <= hour < brew.off_h[1]
        on = beer = outside = 0.0
        for step in range(steps):
            low_c = brew.target_c - (0.05 if heat_on else 0.1)
            heat_on = not is_off and garage.beer_probe_c < low_c
            utc_s = START_UTC_S + hour * 3600.0 + (step + 1) * STEP_S
            garage.step(STEP_S, heat_on, False, utc_s)
            on += heat_on / steps
            beer += garage.beer_probe_c / steps
            outside += garage.garage_probe_c / steps
        trouble = Trouble.OUTAGE if is_off else None
        target_c = None if is_off else brew.target_c
        hours.append(LivedHour(float(hour), beer, not is_off, target_c, outside, on, trouble))
        if hour + 1 >= next_h:
            plato = garage.apparent_plato + dice.gauss(0.0, 0.15)
            readings.append(Reading(hour + 1.0, sg_from_plato(plato)))
            next_h += dice.uniform(9.0, 15.0) * (1.0 if brew.slug == "kveik" else 1.6)
    original_sg = sg_from_plato(brew.garage.ferment.original_plato)
    told = Told(original_sg, tuple(readings), sg_from_plato(2.8))
    return told, hours, garage.apparent_plato


def judged(make: Callable[[random.Random], Brew], seed: int) -> Account:
    dice = random.Random(seed)
    brew = make(dice)
    told, hours, _ = brewed(brew, dice)
    return account_of(strain(brew.slug), told, hours)


def main() -> None:
    each = int(sys.argv[1]) if len(sys.argv) > 1 else EACH
    right = total = 0
    for name, (make, causes) in KNOWN.items():
        first = [judged(make, seed).blamed[:2] for seed in range(each)]
        hits = sum(bool(found) and found[0] in causes for found in first)
        right, total = right + hits, total + each
        print(f"{name:12} named first in {hits} of {each}", end="  ")
        print([tuple(x.name for x in f) for f in first if not f or f[0] not in causes])
    print(f"all          {right / total:.0%} of {total}")
    quiet = 0
    for seed in range(each):
        found = judged(nothing, seed)
        worst = max(
            [s.lost_h for s in found.spells] + [s.lost_h + 12 * s.short_plato for s in found.signs],
            default=0.0,
        )
        quiet += worst < 6.0
        if worst >= 6.0:
            print(
                "  blamed though nothing was wrong:",
                [x.name for x in found.blamed],
                f"{worst:.0f} h",
            )
    print(f"nothing      left in peace {quiet} of {each}")


if __name__ == "__main__":
    main()
