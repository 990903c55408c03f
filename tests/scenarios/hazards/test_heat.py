"""Hazards 20 to 29, 52, 55 and 58 in the garage: pad, contact, fan and vessel."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

from tests.hazards import keeps
from tests.scenarios.garage import Night, settings, spent
from tests.scenarios.hazards.seen import WITHOUT_PAD, raised_s, since_s, tripped_s

HELD = {"start_c": 34.0, "days": 5.5 / 24.0}
WELDED = ("pad-stays-hot", "heat-while-off", "rise-too-fast")


def commanded_off_s(night: Night, fault_h: float) -> float:
    """How long after the fault the heat was first off: until then a weld makes no difference."""
    return next(
        since
        for tick in night.ticks
        if (since := since_s(night, tick, fault_h)) >= 0.0 and not tick.heat
    )


@pytest.mark.hazard(20)
def test_a_welded_relay_is_found_by_the_pads_probe(tmp_path: Path) -> None:
    night = spent(tmp_path, "heat-welded@4h", **HELD)  # type: ignore[arg-type]
    took_s = tripped_s(night, WELDED, 4.0) - commanded_off_s(night, 4.0)
    assert took_s <= 300.0
    assert "pad-stays-hot" in night.ticks[-1].trips


@pytest.mark.hazard(20)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_welded_relay_is_found_by_the_beer_alone(tmp_path: Path, seed: int) -> None:
    night = spent(tmp_path, "heat-welded@4h", given=WITHOUT_PAD, seed=seed, **HELD)  # type: ignore[arg-type]
    keeps(20, tripped_s(night, WELDED, 4.0) - commanded_off_s(night, 4.0))


@pytest.mark.hazard(21)
@pytest.mark.parametrize("fault", ["heat-dead", "mains-off"])
def test_a_dead_pad_is_found_by_its_probe_at_the_next_switching_on(
    tmp_path: Path, fault: str
) -> None:
    night = spent(tmp_path, f"{fault}@4h", **HELD)  # type: ignore[arg-type]
    at_s = tripped_s(night, ("pad-stays-cold",), 4.0)
    switched_on = [
        since_s(night, now, 4.0)
        for before, now in pairwise(night.ticks)
        if now.heat and not before.heat and 0.0 <= since_s(night, now, 4.0) < at_s
    ]
    assert at_s - switched_on[-1] <= 190.0
    keeps(21, at_s)


@pytest.mark.hazard(21)
@pytest.mark.parametrize("fault_h", [0.5, 1.0])
def test_a_dead_pad_is_found_by_the_beer_alone_during_the_warm_up(
    tmp_path: Path, fault_h: float
) -> None:
    night = spent(
        tmp_path, f"mains-off@{fault_h}h", days=2.25 / 24.0, start_c=8.0, given=WITHOUT_PAD
    )
    codes = ("heat-without-effect", "beer-frozen")
    keeps(21, tripped_s(night, codes, fault_h))


@pytest.mark.hazard(21)
def test_a_dead_pad_is_told_from_the_balance_while_it_is_held(tmp_path: Path) -> None:
    night = spent(tmp_path, "mains-off@4h", given=WITHOUT_PAD, **HELD)  # type: ignore[arg-type]
    keeps(21, raised_s(night, "heat-falls-short", 4.0))


@pytest.mark.hazard(22)
def test_a_cut_out_that_opens_again_and_again_is_told(tmp_path: Path) -> None:
    night = spent(
        tmp_path,
        "contact-lost=0.1@4h",
        given=WITHOUT_PAD,
        cutout_c=65.0,
        mean_c=-5.0,
        **HELD,  # type: ignore[arg-type]
    )
    keeps(22, raised_s(night, "heat-falls-short", 4.0))


@pytest.mark.hazard(23)
@pytest.mark.parametrize("share", [0.05, 0.14])
def test_a_pad_that_peels_off_never_passes_its_limit_by_much(tmp_path: Path, share: float) -> None:
    night = spent(tmp_path, f"contact-lost={share}@4h", **HELD)  # type: ignore[arg-type]
    hot = [tick for tick in night.ticks if tick.pad_c is not None and tick.pad_c >= 60.0]
    for tick in hot:
        assert not tick.heat
    assert max(tick.pad_c or 0.0 for tick in night.ticks) < 65.0
    assert "pad-loose" in night.codes("raised") or "pad-too-hot" in {
        code for tick in night.ticks for code in tick.vetoes
    }
    keeps(23, 10.0)  # Each tick that sees it hot is off, as asserted above.


@pytest.mark.hazard(24)
@pytest.mark.parametrize(("shown_c", "code"), [(39.0, "beer-above-target"), (42.5, "beer-too-hot")])
def test_a_beer_too_hot_for_whatever_reason(tmp_path: Path, shown_c: float, code: str) -> None:
    night = spent(tmp_path, f"beer-reads={shown_c}@2h", days=3.0 / 24.0, start_c=34.0)
    first = next(tick for tick in night.after_h(2.0) if code in tick.vetoes)
    keeps(24, since_s(night, first, 2.0))
    assert not any(tick.heat for tick in night.after_h(2.0 + 60.0 / 3600.0))


@pytest.mark.hazard(25)
def test_a_beer_about_to_freeze_with_a_dead_pad_calls_loudly(tmp_path: Path) -> None:
    night = spent(
        tmp_path, "mains-off@0s", days=12.0 / 24.0, start_c=3.0, mean_c=-14.0, swing_k=0.0,
        original_plato=0.0, given=settings(20.0),
    )  # fmt: skip
    cold = next(tick for tick in night.ticks if tick.beer_c is not None and tick.beer_c < 1.0)
    cold_h = (cold.mono_s - night.ticks[0].mono_s) / 3600.0
    keeps(25, raised_s(night, "beer-near-freezing", cold_h))
    (raised,) = [e for e in night.events if (e.code, e.state) == ("beer-near-freezing", "raised")]
    assert raised.priority == "high"


@pytest.mark.hazard(26)
def test_a_pad_too_weak_for_the_night_is_told(tmp_path: Path) -> None:
    weak = settings()
    weak = replace(weak, vessel=replace(weak.vessel, pad_w=30.0))
    night = spent(tmp_path, days=4.0 / 24.0, given=weak, mean_c=-12.0, start_c=34.0)
    keeps(26, raised_s(night, "cannot-reach", 0.0))
    assert night.codes("tripped") == []
    assert all(tick.demand == 1.0 for tick in night.after_h(1.0))


@pytest.mark.hazard(28)
def test_the_fan_never_blows_warmer_air_onto_the_beer(tmp_path: Path) -> None:
    night = spent(
        tmp_path, days=10.0 / 24.0, given=settings(18.0), start_c=20.0, mean_c=24.0, swing_k=8.0,
    )  # fmt: skip
    for tick in night.ticks:
        if tick.fan and tick.beer_c is not None and tick.garage_c is not None:
            assert tick.garage_c < tick.beer_c
    assert any("garage-not-colder" in tick.vetoes for tick in night.ticks)


@pytest.mark.hazard(29)
def test_a_fan_stuck_on_in_a_cold_night_is_told(tmp_path: Path) -> None:
    night = spent(tmp_path, "fan-welded@4h", mean_c=-6.0, **HELD)  # type: ignore[arg-type]
    told = [
        raised_s(night, code, 4.0)
        for code in ("heat-falls-short", "cannot-reach", "beer-drifting")
        if code in night.codes("raised")
    ]
    keeps(29, min(told))


@pytest.mark.hazard(52)
def test_a_noisy_probe_does_not_make_the_relay_chatter(tmp_path: Path) -> None:
    night = spent(tmp_path, "beer-offset=0.4@3h+20min", "beer-offset=-0.4@4h+20min", days=0.25)
    changes = [now.mono_s for before, now in pairwise(night.ticks) if now.heat != before.heat]
    safety = {"no-beer-reading", "beer-leapt", "beer-still", "beer-above-target", "pad-too-hot"}
    vetoed = {tick.mono_s for tick in night.ticks if safety & set(tick.vetoes)}
    short = [b - a for a, b in pairwise(changes) if b - a < 30.0 and b not in vetoed]
    assert short == []


@pytest.mark.hazard(55)
@pytest.mark.parametrize(("volume_l", "loss"), [(26.0, 0.6), (26.0, 1.5), (15.0, 1.5), (15.0, 0.6)])
def test_a_vessel_described_wrongly_delays_no_detection_beyond_twice(
    tmp_path: Path, volume_l: float, loss: float
) -> None:
    night = spent(
        tmp_path, f"jacket-open={loss}@0s", "heat-welded@4h", given=WITHOUT_PAD,
        volume_l=volume_l, **(HELD | {"days": 6.0 / 24.0}),  # type: ignore[arg-type]
    )  # fmt: skip
    keeps(55, tripped_s(night, WELDED, 4.0) - commanded_off_s(night, 4.0))


@pytest.mark.hazard(58)
@pytest.mark.parametrize("volume_l", [1.0, 2.5])
@pytest.mark.parametrize("given", [None, WITHOUT_PAD], ids=["pad probe", "none"])
def test_a_nearly_empty_vessel_is_noticed_by_its_haste(
    tmp_path: Path, volume_l: float, given: object
) -> None:
    night = spent(
        tmp_path, days=2.0 / 24.0, start_c=8.0, volume_l=volume_l, original_plato=0.0, given=given,  # type: ignore[arg-type]
    )  # fmt: skip
    first_heat = next(tick for tick in night.ticks if tick.heat)
    since = first_heat.mono_s - night.ticks[0].mono_s
    keeps(58, tripped_s(night, ("rise-too-fast", "beer-on-pad"), 0.0) - since)


@pytest.mark.hazard(63)
def test_a_jacket_left_open_is_told(tmp_path: Path) -> None:
    night = spent(tmp_path, "jacket-open=4@4h+1h", mean_c=-2.0, **HELD)  # type: ignore[arg-type]
    keeps(63, raised_s(night, "heat-falls-short", 4.0))
    assert night.codes("tripped") == []
