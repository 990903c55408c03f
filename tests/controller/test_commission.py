"""The walk through a new build, in the simulated garage below the real libraries."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from controller.check import Found
from controller.commission import PULSE_S_MAX, Walk, commission
from controller.decision.vocabulary import Relay, Role
from controller.edge.probes import LocalProbes
from controller.edge.relays import Relays
from controller.settings import Settings
from controller.simulation.faults import parse_fault
from controller.simulation.simulate import Garage, scene_of
from controller.simulation.world import World
from tests.scenarios.garage import settings

HAND_K = 6.0
ANSWERS = {"filled with water": "y", "outlet switch on": "y", "cut-out as": "yes"}


class Person:
    """Warms the probe it is asked for, unless it was told to warm another, and answers."""

    def __init__(self, world: World, **exchanged: Role) -> None:
        self.world = world
        self.exchanged = exchanged
        self.asked: list[str] = []
        self.warmed: list[Role] = []
        self.answers = dict(ANSWERS)
        self.before: Callable[[str], None] = lambda _: None

    def __call__(self, question: str) -> str:
        self.asked.append(question)
        for role in self.warmed:
            self.world.bus.set_error(role, 0.0, None)
        self.warmed.clear()
        self.before(question)
        if "warm hand" in question:
            role = next(role for role in Role if f"the {role.value} probe" in question)
            self.warmed.append(self.exchanged.get(role.value, role))
            self.world.bus.set_error(self.warmed[0], HAND_K, None)
            return ""
        return next(answer for part, answer in self.answers.items() if part in question)


class Watched(World):
    """Remembers for how long the pad was on."""

    pad_s = 0.0
    together_s = 0.0

    def _pass(self, dt_s: float) -> None:
        self.pad_s += dt_s * self.heat_on
        self.together_s += dt_s * (self.heat_on and self.fan_on)
        super()._pass(dt_s)


@pytest.fixture
def build(request: pytest.FixtureRequest) -> Callable[..., tuple[Walk, Watched, Person]]:
    def built(
        *faults: str, given: Settings | None = None, garage: dict[str, float] | None = None
    ) -> tuple[Walk, Watched, Person]:
        chosen = given or settings()
        scene = scene_of(chosen, Garage(start_c=18.0, **(garage or {})), 1.768e9)
        world = Watched(replace(scene, faults=tuple(map(parse_fault, faults))))
        request.addfinalizer(world.close)
        probes = LocalProbes(replace(chosen.probes, folder=str(world.bus.folder)), world)
        relays = Relays(chosen.relays, world.pins)
        person = Person(world)
        return Walk(chosen, world, probes, relays, person), world, person

    return built


def found(walk: Walk) -> dict[str, Found]:
    return {each.name: each for each in commission(walk)}


def mended(findings: dict[str, Found]) -> set[str]:
    return {name for name, each in findings.items() if not each.is_well}


def test_a_sound_build_is_found_sound(build) -> None:  # type: ignore[no-untyped-def]
    walk, world, person = build()
    findings = found(walk)
    assert mended(findings) == set()
    assert "rose by" in findings["pad probe"].text
    assert {"beer probe", "garage probe", "fan", "pad", "cut-out"} <= set(findings)
    assert 0.0 < world.pad_s <= PULSE_S_MAX + 10.0
    assert world.together_s == 0.0
    assert not (world.heat_on or world.fan_on)
    assert len(person.asked) == 7


def test_exchanged_probes_are_found_with_the_line_to_write(build) -> None:  # type: ignore[no-untyped-def]
    walk, _, person = build()
    person.exchanged = {"beer": Role.PAD, "pad": Role.BEER}
    findings = found(walk)
    assert {"beer probe", "pad probe"} & mended(findings) == {"beer probe"}
    assert walk.settings.probes.pad in findings["beer probe"].remedy


def test_a_hand_that_warms_nothing_is_told(build) -> None:  # type: ignore[no-untyped-def]
    walk, _, _ = build("garage-frozen@0s")
    assert "no probe has warmed" in found(walk)["garage probe"].text


@pytest.mark.parametrize(
    ("fault", "names"),
    [
        ("mains-off@0s", {"pad probe"}),
        ("heat-dead@0s", {"pad probe"}),
        ("heat-misread@0s", {"pad"}),
        ("heat-grounded@0s", {"pad relay", "pad probe"}),
    ],
)
def test_a_pad_that_does_not_do_as_told_is_found(build, fault: str, names: set[str]) -> None:  # type: ignore[no-untyped-def]
    walk, world, _ = build(fault)
    assert names <= mended(found(walk))
    assert not world.heat_on


def test_a_beer_probe_lying_on_the_pad_is_found(build) -> None:  # type: ignore[no-untyped-def]
    walk, _, _ = build("beer-astray@0s")
    assert "lies on the pad" in found(walk)["probes"].remedy


@pytest.mark.parametrize(
    ("fault", "garage", "name", "part"),
    [
        ("beer-missing@250s", {}, "pad", "no trustworthy reading"),
        ("pad-reads=61@250s", {}, "pad", "reached its limit"),
        ("beer-reads=43@250s", {}, "pad", "highest temperature"),
        ("garage-offset=0@0s", {"mean_c": 25.0}, "fan", "not colder"),
    ],
)
def test_what_an_interlock_forbids_is_not_switched_and_is_explained(  # type: ignore[no-untyped-def]
    build, fault: str, garage: dict[str, float], name: str, part: str
) -> None:
    walk, world, person = build(fault, garage=garage)
    person.answers["outlet switch on"] = "n"

    def wait_for_the_fault(question: str) -> None:
        if "filled with water" in question:
            world.sleep_until(world.scene.start_mono_s + 400.0)

    person.before = wait_for_the_fault
    findings = found(walk)
    assert part in findings[name].text
    if name == "pad":
        assert world.pad_s == 0.0


def test_a_pad_that_gets_too_hot_during_the_pulse_is_let_go_at_once(build) -> None:  # type: ignore[no-untyped-def]
    walk, world, _ = build()
    tight = replace(walk.settings.limits, pad_c_max=30.0)
    walk.settings = replace(walk.settings, limits=tight)
    world.garage.disturb(replace(world._trouble.plant, contact_factor=0.05))
    found(walk)
    assert 0.0 < world.pad_s < PULSE_S_MAX


def test_whoever_leaves_in_the_middle_leaves_the_relays_off(build) -> None:  # type: ignore[no-untyped-def]
    walk, world, _ = build()
    seen_on = []

    class Leaving:
        def now(self):  # type: ignore[no-untyped-def]
            return world.now()

        def sleep_until(self, mono_s: float) -> None:
            world.sleep_until(mono_s)
            if world.heat_on:
                seen_on.append(True)
                raise KeyboardInterrupt

    walk.clock = Leaving()
    with pytest.raises(KeyboardInterrupt):
        found(walk)
    assert seen_on == [True]
    assert not world.pins.is_energised(Relay.HEAT)


def test_what_a_person_denies_or_skips_is_to_be_mended(build) -> None:  # type: ignore[no-untyped-def]
    walk, world, person = build()
    person.answers = dict.fromkeys(ANSWERS, "n")
    assert {"pad", "cut-out", "fan"} <= mended(found(walk))
    assert world.pad_s == 0.0


def test_without_pad_probe_or_fan_it_walks_all_the_same(build) -> None:  # type: ignore[no-untyped-def]
    bare = settings(without=("garage", "pad =", "fan_gpio"))
    walk, _, _ = build(given=bare)
    findings = found(walk)
    assert mended(findings) == set()
    assert "cut-out watch the pad" in findings["pad probe"].text
    assert "fan" not in findings
