"""The table of faults and its written form."""

from __future__ import annotations

from math import inf

import pytest

from controller.decision.vocabulary import Relay, Role
from controller.errors import SettingsError
from controller.simulation.faults import KINDS, next_change_s, parse_fault, trouble_at
from controller.simulation.onewire import BusFault
from controller.simulation.pins import PinFault
from controller.simulation.plant import ProbeSeat


def test_a_fault_has_a_start_and_perhaps_a_length() -> None:
    fault = parse_fault("beer-missing@30h+20min")
    assert (fault.from_s, fault.to_s) == (108_000.0, 109_200.0)
    fault = parse_fault(" heat-welded@1.5d ")
    assert (fault.from_s, fault.to_s) == (129_600.0, inf)
    assert parse_fault("beer-offset=-0.3@10s").value == -0.3
    assert parse_fault("jacket-open@1h").value == 3.0


def test_trouble_is_there_from_its_start_until_its_end() -> None:
    faults = [parse_fault("pad-empty@1h+1h"), parse_fault("fan-dead@90min")]
    assert trouble_at(faults, 3_599.0).bus == {}
    assert trouble_at(faults, 3_600.0).bus == {Role.PAD: BusFault.EMPTY}
    assert trouble_at(faults, 7_199.0).pins == {Relay.FAN: PinFault.DEAD}
    assert trouble_at(faults, 7_200.0).bus == {}
    changes, now_s = [], -1.0
    while (now_s := next_change_s(faults, now_s)) < inf:
        changes.append(now_s)
    assert changes == [3_600.0, 5_400.0, 7_200.0]


def test_faults_of_different_things_add_up() -> None:
    words = (
        "jacket-open@0s", "contact-lost=0.2@0s", "mains-off@0s", "beer-layered@0s", "beer-out@0s",
        "garage-warmed@0s", "yeast-slow@0s", "clock-step=-60@0s", "clock-step=100@0s",
        "clock-unsynced@0s", "air-reads@0s", "garage-offset=2@0s",
    )  # fmt: skip
    trouble = trouble_at([parse_fault(word) for word in words], 1.0)
    plant = trouble.plant
    assert (plant.loss_factor, plant.contact_factor, plant.pad_factor) == (3.0, 0.2, 0.0)
    assert (plant.mixing_factor, plant.seat) == (0.0, ProbeSeat.GARAGE)
    assert (plant.garage_rise_k, plant.vigour) == (12.0, 0.1)
    assert (trouble.clock_step_s, trouble.clock_synced) == (40.0, False)
    assert trouble.forced_c == {Role.AIR: -110.0}
    assert trouble.drift_k == {Role.GARAGE: 2.0}


@pytest.mark.parametrize("word", KINDS)
def test_every_word_can_be_written_and_changes_something(word: str) -> None:
    fault = parse_fault(f"{word}@0s")
    assert trouble_at([fault], 0.0) != trouble_at([], 0.0)
    assert fault.kind.meaning


@pytest.mark.parametrize(
    ("text", "remedy"),
    [
        ("", "Write it like"),
        ("beer-missing", "Write it like"),
        ("beer-missing@", "Write it like"),
        ("beer-missing@30", "Write it like"),
        ("BEER-MISSING@1h", "Write it like"),
        ("beer-gone@1h", "With beer these do: .*beer-missing"),
        ("cellar-flooded@1h", "Begin with one of: beer, .*jacket"),
        ("beer-missing@3weeks", "s, min, h, d"),
        ("beer-missing@1h+2m", "s, min, h, d"),
        ("beer-missing=3@1h", "Leave out =3"),
        ("jacket-open=200@1h", "between 0.1 and 10"),
    ],
)
def test_what_cannot_be_read_says_what_would_be(text: str, remedy: str) -> None:
    with pytest.raises(SettingsError, match=remedy):
        parse_fault(text)
