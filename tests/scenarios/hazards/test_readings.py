"""Hazards 1 to 19 in the garage: probes that fail, lie, freeze, stray or hang."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.hazards import keeps
from tests.scenarios.garage import Night, settings, spent
from tests.scenarios.hazards.seen import WITHOUT_PAD, heated_until_s, raised_s, tripped_s

WARMS = ("heat-while-off", "rise-too-fast")
WARM_UP = {"start_c": 8.0, "original_plato": 0.0}


def warming(folder: Path, fault: str, **more: object) -> Night:
    """A warm-up, so that the pad is on without a break, with a fault after half an hour."""
    return spent(folder, f"{fault}@30min", days=1.25 / 24.0, **WARM_UP, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("number", "fault"),
    [
        pytest.param(1, "beer-missing", marks=pytest.mark.hazard(1)),
        pytest.param(2, "beer-empty", marks=pytest.mark.hazard(2)),
        pytest.param(2, "beer-torn", marks=pytest.mark.hazard(2)),
        pytest.param(2, "beer-eio", marks=pytest.mark.hazard(2)),
        pytest.param(3, "beer-no", marks=pytest.mark.hazard(3)),
        pytest.param(4, "beer-garbled", marks=pytest.mark.hazard(4)),
        pytest.param(5, "beer-power-on", marks=pytest.mark.hazard(5)),
        pytest.param(6, "beer-unpowered", marks=pytest.mark.hazard(6)),
        pytest.param(7, "beer-shorted", marks=pytest.mark.hazard(7)),
        pytest.param(8, "beer-reads=-110", marks=pytest.mark.hazard(8)),
        pytest.param(8, "beer-reads=-127", marks=pytest.mark.hazard(8)),
        pytest.param(8, "beer-reads=61", marks=pytest.mark.hazard(8)),
        pytest.param(15, "beer-hanging", marks=pytest.mark.hazard(15)),
    ],
)
def test_a_bad_reading_is_never_used_and_the_heat_ends_within_a_minute(
    tmp_path: Path, number: int, fault: str
) -> None:
    night = warming(tmp_path, fault)
    after = night.after_h(0.5)
    believed = {tick.beer_c for tick in after} - {None}
    before = next(tick.beer_c for tick in reversed(night.ticks[:178]))
    assert before is not None and all(abs(value - before) < 0.5 for value in believed if value)
    keeps(number, heated_until_s(night, 0.5))
    assert "beer-probe-lost" in night.codes("raised")


@pytest.mark.hazard(9)
@pytest.mark.parametrize("given", [None, WITHOUT_PAD], ids=["pad probe", "none"])
def test_an_old_value_told_again_and_again_while_it_is_held(tmp_path: Path, given: object) -> None:
    night = spent(tmp_path, "beer-frozen@4h", days=5.5 / 24.0, start_c=34.0, given=given)  # type: ignore[arg-type]
    keeps(9, tripped_s(night, ("beer-frozen",), 4.0))


@pytest.mark.hazard(10)
@pytest.mark.parametrize("given", [None, WITHOUT_PAD], ids=["pad probe", "none"])
def test_a_frozen_reading_during_the_warm_up(tmp_path: Path, given: object) -> None:
    night = warming(tmp_path, "beer-frozen", given=given)
    keeps(10, tripped_s(night, ("beer-frozen", "heat-without-effect"), 0.5))
    assert heated_until_s(night, 0.5) <= 2400.0


@pytest.mark.hazard(11)
@pytest.mark.parametrize("mean_c", [3.0, -8.0])
def test_a_beer_probe_out_of_its_well(tmp_path: Path, mean_c: float) -> None:
    night = spent(tmp_path, "beer-out@4h", days=5.0 / 24.0, start_c=34.0, mean_c=mean_c)
    keeps(11, tripped_s(night, ("fall-too-fast",), 4.0))
    assert "beer-on-pad" not in night.codes("tripped")


@pytest.mark.hazard(12)
@pytest.mark.parametrize("given", [None, WITHOUT_PAD], ids=["pad probe", "none"])
@pytest.mark.parametrize("start_c", [8.0, 34.0])
def test_a_beer_probe_that_has_slid_onto_the_pad(
    tmp_path: Path, given: object, start_c: float
) -> None:
    night = spent(tmp_path, "beer-astray@4h", days=5.5 / 24.0, start_c=start_c, given=given)  # type: ignore[arg-type]
    codes = ("fall-too-fast", "beer-on-pad", "pad-stays-cold", "beer-too-hot", *WARMS)
    keeps(12, tripped_s(night, codes, 4.0))


@pytest.mark.hazard(13)
def test_probes_in_each_others_place_are_found_at_the_first_heat(tmp_path: Path) -> None:
    night = spent(tmp_path, "probes-exchanged@0s", days=1.0 / 24.0, **WARM_UP)  # type: ignore[arg-type]
    keeps(13, heated_until_s(night, 0.0))
    assert tripped_s(night, ("pad-stays-cold", "fall-too-fast"), 0.0) <= 600.0


@pytest.mark.hazard(18)
def test_without_the_garages_probe_heating_goes_on_and_the_fan_stays_off(tmp_path: Path) -> None:
    night = spent(
        tmp_path, "garage-missing@30min", days=2.0 / 24.0,
        given=settings(18.0), start_c=24.0, original_plato=16.0,
    )  # fmt: skip
    assert any(tick.fan for tick in night.ticks)
    fanned = [tick for tick in night.after_h(0.5) if tick.fan]
    start_s = night.ticks[0].mono_s + 1800.0
    keeps(18, max((tick.mono_s - start_s for tick in fanned), default=0.0))
    assert "garage-probe-lost" in night.codes("raised")
    assert raised_s(night, "garage-probe-lost", 0.5) <= 120.0


@pytest.mark.hazard(61)
@pytest.mark.parametrize("fault", ["pad-missing", "pad-garbled"])
def test_a_lost_pad_probe_ends_the_heat_within_a_minute(tmp_path: Path, fault: str) -> None:
    night = warming(tmp_path, fault)
    keeps(61, heated_until_s(night, 0.5))
    assert "pad-probe-lost" in night.codes("raised")
