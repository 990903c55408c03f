"""A whole simulated chamber, with the real probe reader and the real relay driver on it."""

from __future__ import annotations

import pytest

from controller.decision.vocabulary import Command, Fault, Relay, Role
from controller.edge.clock import Clock
from controller.edge.probes import LocalProbes, ProbeSettings
from controller.edge.relays import Relays, RelaySettings
from controller.simulation.faults import parse_fault
from controller.simulation.onewire import SimulatedProbe
from controller.simulation.plant import GarageSettings
from controller.simulation.world import Pace, Scene, World

ALL_PROBES = tuple(SimulatedProbe(role) for role in Role)


def scene(*faults: str, **changes: object) -> Scene:
    planned = tuple(parse_fault(fault) for fault in faults)
    return Scene(probes=ALL_PROBES, faults=planned, **changes)  # type: ignore[arg-type]


def reader(world: World) -> LocalProbes:
    rom_ids = {role.value: world.bus.rom_id(role) for role in Role}
    return LocalProbes(ProbeSettings(**rom_ids, folder=str(world.bus.folder)), world)


def driver(world: World) -> Relays:
    return Relays(RelaySettings(heat_gpio=17, fan_gpio=27), world.pins)


def run(world: World, ticks: int, tick_s: float = 10.0) -> None:
    for _ in range(ticks):
        world.sleep_until(world.now().mono_s + tick_s)


def test_sleeping_moves_both_clocks_and_the_physics_together() -> None:
    with World(scene()) as world:
        clock: Clock = world
        start = clock.now()
        relays = driver(world)
        relays.apply(Command(heat=True))
        clock.sleep_until(start.mono_s + 3_605.0)
        now = clock.now()
        assert now.mono_s == pytest.approx(start.mono_s + 3_605.0)
        assert now.utc_s == pytest.approx(start.utc_s + 3_605.0)
        assert world.garage.pad_j == pytest.approx(60.0 * 3_605.0)
        clock.sleep_until(now.mono_s - 100.0)
        relays.close()
        assert clock.now() == now


def test_a_day_through_the_real_libraries_warms_the_beer_and_the_readings_follow_it() -> None:
    with World(scene(garage=GarageSettings(start_c=20.0))) as world:
        probes, relays = reader(world), driver(world)
        heat = False
        for _ in range(8_640):
            readings = {reading.role: reading.value_c for reading in probes.read()}
            beer_c = readings[Role.BEER]
            assert beer_c is not None
            assert abs(beer_c - world.garage.beer_probe_c) < 0.15
            heat = beer_c < (34.9 if not heat else 35.1)
            assert relays.apply(Command(heat=heat)).agrees
            world.sleep_until(world.now().mono_s + 10.0)
        assert world.garage.beer_c == pytest.approx(35.0, abs=0.5)
        assert readings[Role.PAD] == pytest.approx(world.garage.pad_probe_c, abs=2.0)
        assert readings[Role.GARAGE] == pytest.approx(world.garage.garage_probe_c, abs=0.3)
        assert readings[Role.AIR] == pytest.approx(world.garage.air_probe_c, abs=0.3)


def test_faults_come_and_go_on_time_at_their_own_place() -> None:
    faults = ("beer-missing@10min+5min", "heat-welded@20min+5min", "garage-shorted@20min+1min")
    with World(scene(*faults)) as world:
        probes, relays = reader(world), driver(world)
        seen: dict[int, tuple[Fault | None, Fault | None, bool]] = {}
        for minute in range(30):
            relays.apply(Command())
            readings = {reading.role: reading.fault for reading in probes.read()}
            seen[minute] = (readings[Role.BEER], readings[Role.GARAGE], world.heat_on)
            run(world, 6)
        healthy = (None, None, False)
        assert all(
            seen[minute] == healthy for minute in (*range(10), *range(15, 20), *range(25, 30))
        )
        assert all(seen[minute] == (Fault.MISSING, None, False) for minute in range(10, 15))
        assert seen[20] == (None, Fault.SHORTED, True)
        assert all(seen[minute] == (None, None, True) for minute in range(21, 25))


def test_a_fault_may_stand_from_the_first_reading() -> None:
    with World(scene("beer-power-on@0s")) as world:
        assert reader(world).read()[0].fault is Fault.POWER_ON


def test_a_wrong_wall_clock_moves_no_sun_and_no_monotonic_clock() -> None:
    moments, air_c = [], []
    for faults in ((), ("clock-step=-86400@1h+1h", "clock-unsynced@1h+30min")):
        with World(scene(*faults)) as world:
            run(world, 36, 300.0)
            air_c.append(world.garage.garage_c)
        with World(scene(*faults)) as world:
            run(world, 15, 300.0)
            moments.append(world.now())
    assert air_c[0] == air_c[1]
    assert moments[1].mono_s == moments[0].mono_s
    assert moments[1].utc_s == moments[0].utc_s - 86_400.0
    assert (moments[0].synced, moments[1].synced) == (True, False)


def test_two_worlds_of_one_scene_are_the_same_to_the_last_bit() -> None:
    trails = []
    for _ in range(2):
        with World(scene("jacket-open@1h+1h", "beer-out@3h+10min")) as world:
            probes, relays = reader(world), driver(world)
            trail = []
            for tick in range(1_440):
                relays.apply(Command(heat=tick % 60 < 30))
                trail.append(tuple(reading.value_c for reading in probes.read()))
                run(world, 1)
            trails.append((trail, world.garage.energy_balance()))
    assert trails[0] == trails[1]


def test_a_pace_waits_in_small_pieces_and_only_from_its_instant_on() -> None:
    waits: list[float] = []
    calls: list[float] = []
    with World(scene(), None) as flat_out:
        start_s = flat_out.now().mono_s
        run(flat_out, 60)

    pace = Pace(20.0, waits.append, start_s + 300.0, on_wait=lambda: calls.append(sum(waits)))
    with World(scene(), pace) as world:
        run(world, 30)
        assert waits == []
        run(world, 30)
        assert sum(waits) == pytest.approx(300.0 / 20.0)
        assert max(waits) <= 0.25
        assert len(calls) == len(waits)
        assert world.now().mono_s == pytest.approx(flat_out.now().mono_s)
        assert world.garage.beer_c == pytest.approx(flat_out.garage.beer_c, abs=0.01)


def test_closing_twice_is_fine_and_leaves_nothing_behind() -> None:
    world = World(scene())
    relays = driver(world)
    relays.apply(Command(heat=True))
    assert world.heat_on
    world.close()
    world.close()
    assert not world.bus.folder.exists()
    assert not world.heat_on


def test_a_chamber_with_heat_only_runs() -> None:
    bare = Scene(probes=(SimulatedProbe(Role.BEER),), relays={Relay.HEAT: 4})
    with World(bare) as world:
        run(world, 10)
        assert not world.fan_on
