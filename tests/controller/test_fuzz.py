"""Whatever is written into a probe's file, a settings file, a message or a procedure: what comes of
it is a value or an error that names its remedy, and never heat.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from controller import beerjson, wire
from controller.decision.decide import State, decide
from controller.decision.vocabulary import Applied, Moment, Role
from controller.edge.probes import LocalProbes, ProbeSettings
from controller.errors import BarmkeepError, WireError
from controller.settings import parse
from controller.simulation.onewire import BusFault, faulty_text, scratchpad, slave_text
from tests.controller.decision.driving import hold, plan_for

ROOT = Path(__file__).parents[2]
EXAMPLE = (ROOT / "systemd" / "chamber.example.toml").read_text()
GOLDEN = (ROOT / "tests" / "wire" / "golden.jsonl").read_bytes().splitlines()
PROFILES = sorted((ROOT / "controller" / "profiles").glob("*.json"))
STRAINS = sorted((ROOT / "dashboard" / "strains").glob("*.json"))
ROM = "28-0316a2791aff"
quick = settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)

edits = st.lists(
    st.tuples(st.floats(0, 1, exclude_max=True), st.integers(0, 6), st.binary(max_size=6)),
    min_size=1,
    max_size=5,
)


def edited(raw: bytes, changes: list[tuple[float, int, bytes]]) -> bytes:
    """`raw` with some spans replaced: each at a place, so many bytes by other ones."""
    for place, length, new in changes:
        at = int(place * len(raw))
        raw = raw[:at] + new + raw[at + length :]
    return raw


def value_or_remedy(call: Callable[[], object]) -> object:
    """What a call gives; None when it refuses with what is wrong and what to do."""
    try:
        return call()
    except BarmkeepError as error:
        assert error.what and error.remedy
        return None


@quick
@given(edits)
@pytest.mark.hazard(44)
def test_no_settings_whatever_end_in_anything_but_settings_or_a_remedy(
    changes: list[tuple[float, int, bytes]],
) -> None:
    text = edited(EXAMPLE.encode(), changes).decode("utf-8", errors="replace")
    found = value_or_remedy(lambda: parse(text, ROOT / "systemd"))
    if found is not None:
        assert found.limits.beer_c_max <= 48.0  # type: ignore[attr-defined]
        assert found.limits.pad_c_max <= 75.0  # type: ignore[attr-defined]


@quick
@given(st.text(max_size=400))
def test_no_text_is_taken_for_settings(text: str) -> None:
    assert value_or_remedy(lambda: parse(text, ROOT)) is None


@quick
@given(st.sampled_from(GOLDEN), edits)
@pytest.mark.hazard(45)
def test_no_message_whatever_is_taken_for_another(
    line: bytes, changes: list[tuple[float, int, bytes]]
) -> None:
    try:
        message = wire.decode(edited(line, changes))
    except WireError as error:
        assert error.remedy
        return
    assert wire.decode(wire.encode(message)) == message


@quick
@given(st.sampled_from([*PROFILES, *STRAINS]), edits)
@pytest.mark.hazard(46)
def test_no_procedure_whatever_ends_in_anything_but_a_profile_or_a_remedy(
    path: Path, changes: list[tuple[float, int, bytes]]
) -> None:
    text = edited(path.read_bytes(), changes).decode("utf-8", errors="replace")
    found = value_or_remedy(lambda: beerjson.parse(text))
    for profile in found or ():  # type: ignore[attr-defined]
        for step in profile.steps:
            assert -20.0 <= min(step.start_c, step.end_c) <= max(step.start_c, step.end_c) <= 100.0


GOOD = slave_text(scratchpad(20 * 16))
files = st.one_of(
    st.just(GOOD),
    st.binary(max_size=160),
    st.builds(edited, st.just(GOOD), edits),
    st.builds(slave_text, st.binary(min_size=9, max_size=9)),
    st.sampled_from(
        [faulty_text(fault, 320) for fault in BusFault if fault.name in ("NO", "GARBLED", "TORN")]
    ),
)


@quick
@given(st.lists(files, min_size=1, max_size=12))
def test_no_file_whatever_heats(tmp_path: Path, contents: list[bytes]) -> None:
    """Heat needs three readings in a row that agree, and none older than a minute."""
    folder = tmp_path / ROM
    folder.mkdir(exist_ok=True)
    clock = _Clock()
    probes = LocalProbes(ProbeSettings(beer=ROM, folder=str(tmp_path)), clock)
    plan, state, seen = plan_for(hold(35.0)), State(), []
    for content in contents:
        (folder / "w1_slave").write_bytes(content)
        (reading,) = probes.read()
        seen.append(reading.value_c)
        state, decision = decide(plan, state, (reading,), clock.now())
        state = replace(state, applied=Applied(decision.command.heat, decision.command.fan))
        if decision.command.heat:
            trusted = decision.evidence.of(Role.BEER).value_c
            assert trusted is not None and trusted in seen[-7:]
            assert sum(each is not None for each in seen) >= 3
        clock.mono_s += 10.0


class _Clock:
    mono_s = 1000.0

    def now(self) -> Moment:
        return Moment(self.mono_s, 1.7e9 + self.mono_s)

    def sleep_until(self, mono_s: float) -> None:
        self.mono_s = mono_s
