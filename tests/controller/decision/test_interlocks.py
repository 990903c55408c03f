"""Every rule of the table, one by one, and what is granted."""

from __future__ import annotations

from dataclasses import replace

import pytest

from controller.decision import interlocks
from controller.decision.interlock_rules import (
    RULE_BY_CODE,
    RULES,
    Circumstances,
    InterlockMemory,
    InterlockSettings,
)
from controller.decision.vocabulary import (
    Applied,
    Command,
    Evidence,
    Finding,
    Moment,
    Permit,
    Permits,
    Sensed,
    Target,
    Wanted,
)

NOW = Moment(100_000.0, 1.7e9)
CALM = InterlockMemory(last_mono_s=NOW.mono_s - 10.0)


def sensed(value_c: float | None) -> Sensed:
    return Sensed(value_c, 0.0, 0.0, 0.0, None, fitted=True)


WELL = Circumstances(
    InterlockSettings(),
    CALM,
    Evidence(beer=sensed(35.0), garage=sensed(5.0), pad=sensed(40.0)),
    (),
    Target(35.0, 35.0),
    NOW,
)


def allowed(c: Circumstances, applied: Applied | None = None) -> tuple[InterlockMemory, Permits]:
    memory, permits, _ = interlocks.permits(c, applied or Applied())
    return memory, permits


def later(c: Circumstances, memory: InterlockMemory) -> Circumstances:
    """The same, ten seconds after what is remembered."""
    assert memory.last_mono_s is not None
    return replace(c, memory=memory, now=Moment(memory.last_mono_s + 10.0, 0.0))


def with_beer(beer_c: float | None, garage_c: float | None = 5.0) -> Circumstances:
    return replace(
        WELL, evidence=replace(WELL.evidence, beer=sensed(beer_c), garage=sensed(garage_c))
    )


def with_pad(pad: Sensed) -> Circumstances:
    return replace(WELL, evidence=replace(WELL.evidence, pad=pad))


def remembering(**memory: object) -> Circumstances:
    return replace(WELL, memory=replace(CALM, **memory))  # type: ignore[arg-type]


def test_when_all_is_well_everything_is_free() -> None:
    assert allowed(WELL)[1] == Permits(Permit.FREE, Permit.FREE, ())


OFF, FREE, HOLD = Permit.OFF, Permit.FREE, Permit.HOLD
CASES = {
    "no-beer-reading": (with_beer(None), OFF, OFF),
    "beer-too-hot": (with_beer(42.0), OFF, FREE),
    "beer-above-target": (with_beer(38.1), OFF, FREE),
    "pad-too-hot": (with_pad(sensed(60.0)), OFF, FREE),
    "pad-far-too-hot": (with_pad(sensed(65.0)), OFF, FREE),
    "no-pad-reading": (with_pad(Sensed(fitted=True)), OFF, FREE),
    "heat-without-effect": (replace(WELL, findings=(Finding.HEAT_WITHOUT_EFFECT,)), OFF, FREE),
    "heat-while-off": (replace(WELL, findings=(Finding.HEAT_WHILE_OFF,)), OFF, FREE),
    "rise-too-fast": (replace(WELL, findings=(Finding.RISE_TOO_FAST,)), OFF, FREE),
    "fall-too-fast": (replace(WELL, findings=(Finding.FALL_TOO_FAST,)), OFF, FREE),
    "pad-stays-cold": (replace(WELL, findings=(Finding.PAD_STAYS_COLD,)), OFF, FREE),
    "pad-stays-hot": (replace(WELL, findings=(Finding.PAD_STAYS_HOT,)), OFF, FREE),
    "beer-on-pad": (replace(WELL, findings=(Finding.BEER_ON_PAD,)), OFF, FREE),
    "beer-leapt": (replace(WELL, findings=(Finding.BEER_LEAPT,)), OFF, FREE),
    "beer-still": (replace(WELL, findings=(Finding.BEER_STILL,)), OFF, FREE),
    "beer-frozen": (replace(WELL, findings=(Finding.BEER_FROZEN,)), OFF, FREE),
    "relay-disagrees": (remembering(mismatches=2), OFF, OFF),
    "after-a-gap": (remembering(last_mono_s=NOW.mono_s - 61.0), OFF, OFF),
    "garage-not-colder": (with_beer(35.0, 34.5), FREE, OFF),
    "heat-lately": (remembering(heat_ran_s=NOW.mono_s - 1799.0), FREE, OFF),
    "fan-lately": (remembering(fan_ran_s=NOW.mono_s - 1799.0), OFF, FREE),
    "heat-dwell": (remembering(heat_changed_s=NOW.mono_s - 29.0), HOLD, FREE),
    "fan-dwell": (remembering(fan_changed_s=NOW.mono_s - 59.0), FREE, HOLD),
}


@pytest.mark.parametrize("code", [rule.code for rule in RULES])
def test_each_rule_forbids_what_its_row_says(code: str) -> None:
    circumstances, heat, fan = CASES[code]
    disagrees = code == "relay-disagrees"
    _, permits = allowed(circumstances, Applied(agrees=not disagrees))
    assert code in permits.vetoes
    assert (permits.heat, permits.fan) == (heat, fan)


@pytest.mark.parametrize("code", [rule.code for rule in RULES if rule.latches])
def test_what_latches_stays_when_its_evidence_is_gone_and_goes_when_released(code: str) -> None:
    circumstances, _, _ = CASES[code]
    disagrees = code == "relay-disagrees"
    memory, _, told = interlocks.permits(circumstances, Applied(agrees=not disagrees))
    assert code in memory.trips
    assert (code, "tripped") in [(each.code, each.state) for each in told]
    calm = later(WELL, replace(memory, mismatches=0))
    memory, permits, told = interlocks.permits(calm, Applied())
    assert permits.heat is Permit.OFF
    assert told == ()
    freed = interlocks.released(memory, code)
    assert code not in freed.trips
    assert allowed(later(WELL, freed))[1].heat is (Permit.OFF if freed.trips else Permit.FREE)


@pytest.mark.parametrize("code", [rule.code for rule in RULES if not rule.latches])
def test_what_does_not_latch_leaves_no_trip(code: str) -> None:
    assert allowed(CASES[code][0])[0].trips == ()


def test_every_rule_tells_a_person_what_is_wrong_and_a_trip_what_to_do() -> None:
    assert len(RULE_BY_CODE) == len(RULES)
    for rule in RULES:
        assert rule.text.endswith(".")
        assert rule.remedy.endswith(".") or not rule.latches
    # Why: a welded relay or a burning pad must not be released by somebody who cannot smell it.
    at_machine = {rule.code for rule in RULES if rule.at_machine}
    assert at_machine == {
        "pad-far-too-hot",
        "heat-while-off",
        "pad-stays-hot",
        "relay-disagrees",
    }


@pytest.mark.parametrize(
    ("circumstances", "permit"),
    [
        (with_beer(41.9), "heat"),
        (with_pad(sensed(59.9)), "heat"),
        (remembering(heat_changed_s=NOW.mono_s - 30.0), "heat"),
        (remembering(fan_changed_s=NOW.mono_s - 60.0), "fan"),
        (remembering(heat_ran_s=NOW.mono_s - 1800.0), "fan"),
        (remembering(fan_ran_s=NOW.mono_s - 1800.0), "heat"),
        (remembering(last_mono_s=NOW.mono_s - 60.0), "heat"),
        (with_pad(Sensed()), "heat"),
    ],
)
def test_just_inside_a_limit_nothing_is_forbidden(
    circumstances: Circumstances, permit: str
) -> None:
    circumstances = replace(circumstances, target=None)
    assert getattr(allowed(circumstances)[1], permit) is Permit.FREE


def test_the_fan_gate_opens_at_one_kelvin_and_closes_at_four_tenths() -> None:
    memory, permits = allowed(with_beer(20.0, 19.0))
    assert permits.fan is Permit.OFF
    memory, permits = allowed(with_beer(20.0, 18.9))
    assert permits.fan is Permit.FREE
    memory, permits = allowed(later(with_beer(20.0, 19.5), memory))
    assert permits.fan is Permit.FREE
    memory, permits = allowed(later(with_beer(20.0, 19.6), memory))
    assert permits.fan is Permit.OFF
    assert allowed(with_beer(20.0, None))[1].fan is Permit.OFF


def test_a_real_error_is_worth_a_change_of_direction() -> None:
    memory = replace(CALM, heat_ran_s=NOW.mono_s - 60.0, fan_ran_s=NOW.mono_s - 60.0)
    warm = replace(with_beer(35.6), memory=memory)
    cold = replace(with_beer(34.4), memory=memory)
    assert allowed(warm)[1].vetoes == ("fan-lately",)
    assert allowed(cold)[1].vetoes == ("heat-lately",)


def test_two_mismatches_in_a_row_trip_and_one_does_not() -> None:
    memory, permits = allowed(WELL, Applied(agrees=False))
    assert permits.heat is Permit.FREE
    memory, permits = allowed(later(WELL, memory), Applied(agrees=True))
    memory, permits = allowed(later(WELL, memory), Applied(agrees=False))
    assert permits.heat is Permit.FREE
    memory, permits = allowed(later(WELL, memory), Applied(agrees=False))
    assert permits.heat is Permit.OFF
    assert "relay-disagrees" in memory.trips


ON, NOT = True, False


@pytest.mark.parametrize(
    ("permits", "wanted", "applied", "command"),
    [
        (Permits(FREE, FREE), Wanted(ON, NOT), Applied(NOT, NOT), Command(ON, NOT)),
        (Permits(FREE, FREE), Wanted(NOT, ON), Applied(NOT, NOT), Command(NOT, ON)),
        (Permits(OFF, FREE), Wanted(ON, NOT), Applied(ON, NOT), Command(NOT, NOT)),
        (Permits(FREE, OFF), Wanted(NOT, ON), Applied(NOT, ON), Command(NOT, NOT)),
        (Permits(HOLD, FREE), Wanted(NOT, NOT), Applied(ON, NOT), Command(ON, NOT)),
        (Permits(HOLD, FREE), Wanted(ON, NOT), Applied(NOT, NOT), Command(NOT, NOT)),
        # Both wanted: heat first, never both.
        (Permits(FREE, FREE), Wanted(ON, ON), Applied(NOT, NOT), Command(ON, NOT)),
        # One follows the other a tick later.
        (Permits(FREE, FREE), Wanted(ON, NOT), Applied(NOT, ON), Command(NOT, NOT)),
        (Permits(FREE, FREE), Wanted(NOT, ON), Applied(ON, NOT), Command(NOT, NOT)),
        # A fan held to its least run keeps the heat out.
        (Permits(FREE, HOLD), Wanted(ON, NOT), Applied(NOT, ON), Command(NOT, ON)),
        (Permits(HOLD, FREE), Wanted(NOT, ON), Applied(ON, NOT), Command(ON, NOT)),
    ],
)
def test_what_is_granted(
    permits: Permits, wanted: Wanted, applied: Applied, command: Command
) -> None:
    memory, granted = interlocks.grant(CALM, permits, wanted, applied, NOW)
    assert granted == command
    assert (memory.heat_changed_s == NOW.mono_s) == (command.heat != applied.heat)
    assert (memory.fan_changed_s == NOW.mono_s) == (command.fan != applied.fan)


def test_a_command_for_both_cannot_even_be_made() -> None:
    with pytest.raises(AssertionError):
        Command(heat=True, fan=True)


@pytest.mark.parametrize(("heat", "fan"), [(True, False), (False, True)])
def test_a_run_under_way_is_not_cut_when_the_error_becomes_small(heat: bool, fan: bool) -> None:
    """It began on a real error; a cut at half a kelvin would leave a run of a few seconds."""
    lately = NOW.mono_s - 600.0
    memory = remembering(heat_ran_s=lately if fan else 0.0, fan_ran_s=lately if heat else 0.0)
    _, permits = allowed(memory, Applied(heat=heat, fan=fan))
    assert (permits.heat if heat else permits.fan) is FREE
