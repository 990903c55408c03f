"""Ice point: guides a person through the calibration of one probe in melting ice.

It reads the probe until it rests, judges whether that can be melting ice, and says what to write
into the settings. It writes nothing itself, and it drives nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import Enum

from controller.decision.vocabulary import Reading, Role
from controller.edge.clock import Clock
from controller.edge.probe_reader import ProbeProcess
from controller.edge.probes import Probes, ProbeSettings
from controller.errors import SettingsError

EVERY_S = 10.0  # Why: a conversion warms the probe a little; more often would show.
# Why: five minutes is several time constants of a bare probe in stirred ice water.
READINGS = 30
SPREAD_K_MAX = 0.13  # Why: two steps of a DS18B20; more is a bath that is not mixed.
SLOPE_K_MAX = 0.04  # Why: over the five minutes, of averages; more is still coming down.
# Source: DS18B20 data sheet, 0.5 K from -10 to 85 °C; twice that is a bad probe or no ice.
PLAUSIBLE_K_MAX = 1.0
FAULTS_MAX = 5  # Why: so many in a row are a loose wire.
WAIT_S_MAX = 2400.0  # Why: a thermowell with air in it needs a quarter of an hour; ice melts.

HOW = (
    "Fill a vacuum flask with crushed ice made from clean water, and cold clean water until the "
    "ice just floats.",
    "Put the probe 10 cm deep into the middle of it, not touching the wall; stir now and then.",
    "Keep mains voltage, pad and relay board away from the water. Ctrl-C ends this at any time.",
)


class Found(Enum):
    """What the readings so far say."""

    SETTLING = "not yet at rest"
    STABLE = "at rest"
    NOT_ICE = "at rest, but too far from 0 °C for a sound probe in melting ice"


@dataclass(frozen=True, slots=True)
class Judgement:
    """What the readings so far say; `mean_c` is the raw mean of the newest, None before any."""

    found: Found
    mean_c: float | None = None
    spread_k: float = 0.0
    slope_k: float = 0.0


@dataclass(frozen=True, slots=True)
class Outcome:
    """How it ended: the offset to write down, or why there is none."""

    offset_k: float | None
    text: str


def judge(raw_c: Sequence[float]) -> Judgement:
    """What the newest `READINGS` raw readings say, taken `EVERY_S` apart."""
    newest = raw_c[-READINGS:]
    if not newest:
        return Judgement(Found.SETTLING)
    mean_c = sum(newest) / len(newest)
    spread_k = max(newest) - min(newest)
    half = len(newest) // 2
    if len(newest) < READINGS:
        return Judgement(Found.SETTLING, mean_c, spread_k)
    # Twice the difference of the halves' means is the change over the whole of a steady drift.
    slope_k = 2.0 * (sum(newest[half:]) - sum(newest[:half])) / half
    if spread_k > SPREAD_K_MAX or abs(slope_k) > SLOPE_K_MAX:
        return Judgement(Found.SETTLING, mean_c, spread_k, slope_k)
    found = Found.NOT_ICE if abs(mean_c) > PLAUSIBLE_K_MAX else Found.STABLE
    return Judgement(found, mean_c, spread_k, slope_k)


def ice_point(
    settings: ProbeSettings, role_name: str, clock: Clock, write: Callable[[str], object]
) -> Outcome:
    """The whole procedure for one fitted probe.

    Raises:
        SettingsError: the settings name no probe for this role.
    """
    fitted = settings.fitted()
    role = next((each for each in fitted if each.value == role_name), None)
    if role is None:
        raise SettingsError(
            f"The settings name no {role_name} probe.",
            f"Name one of: {', '.join(each.value for each in fitted)}.",
        )
    probes = ProbeProcess(raw_settings(settings, role), clock)
    try:
        return guide(probes, role, clock, write)
    finally:
        probes.close()


def raw_settings(settings: ProbeSettings, role: Role) -> ProbeSettings:
    """The settings by which this role alone is read, without any calibration of it."""
    bare: dict[str, float | None] = {f"{each.value}_offset_k": 0.0 for each in Role}
    others = {each.value: None for each in Role if each not in (Role.BEER, role)}
    return replace(
        settings,
        **bare,  # type: ignore[arg-type]
        **others,  # type: ignore[arg-type]
        beer_second_c=None,
        beer_second_offset_k=None,
    )


def guide(probes: Probes, role: Role, clock: Clock, write: Callable[[str], object]) -> Outcome:
    """Reads until the probe rests in the ice, or it is clear that it will not.

    Args:
        probes: gives raw readings (see `raw_settings`).
        role: the probe in the ice.
        clock: who waits.
        write: takes a line for the person.
    """
    for line in HOW:
        write(line)
    raw_c: list[float] = []
    faults = 0
    start_s = due_s = clock.now().mono_s
    while due_s - start_s <= WAIT_S_MAX:
        reading = next(each for each in probes.read() if each.role is role)
        faults = faults + 1 if reading.value_c is None else 0
        if faults > FAULTS_MAX:
            return Outcome(None, _faulty(role, reading))
        if reading.value_c is not None:
            raw_c.append(reading.value_c)
            judgement = judge(raw_c)
            if judgement.found is not Found.SETTLING:
                return _ended(role, judgement)
            if len(raw_c) % 6 == 0:
                write(_progress(judgement))
        due_s += EVERY_S
        clock.sleep_until(due_s)
    return Outcome(
        None,
        f"The {role.value} probe did not come to rest within {WAIT_S_MAX / 60.0:.0f} minutes. "
        "Use more ice and less water, stir, and begin again.",
    )


def _progress(judgement: Judgement) -> str:
    return f"{judgement.mean_c:+.3f} °C on average, within {judgement.spread_k:.2f} K: wait, stir."


def _faulty(role: Role, reading: Reading) -> str:
    word = reading.fault.value if reading.fault else "no reading"
    return (
        f"The {role.value} probe gives no reading ({word}). See that it is plugged in, and that "
        "its plug is dry."
    )


def _ended(role: Role, judgement: Judgement) -> Outcome:
    mean_c = judgement.mean_c
    assert mean_c is not None
    if judgement.found is Found.NOT_ICE:
        return Outcome(
            None,
            f"The {role.value} probe rests at {mean_c:+.2f} °C: too far from 0 °C for a sound "
            "probe in melting ice. Stir, add ice, and see that it is the right probe; if it stays "
            "there, replace it.",
        )
    offset_k = round(-mean_c, 2) + 0.0  # Why: adding nothing turns a minus zero into zero.
    return Outcome(
        offset_k,
        f"The {role.value} probe rests at {mean_c:+.3f} °C in melting ice. Write into the "
        f"settings, and the day onto the probe:\n\n[probes]\n{role.value}_offset_k = "
        f"{offset_k:+.2f}\n",
    )
