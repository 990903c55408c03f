"""Invented chambers in every state a page can show, for screenshots and for the browser's tests."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from controller.wire import Event, Presence, Tick
from dashboard.facts import Batch, GravityReading, GravityUnit, Note, NoteKind, Plan
from dashboard.fermentation.attenuation import expected_final_sg
from dashboard.live import LiveHub
from dashboard.store import Store

NOW_UTC_S = 1_768_431_600.0  # 2026-01-14 23:00 UTC, a cold night
TICK_S = 60.0
BOOT = "b7f3"


@dataclass
class Scene:
    """A store and a hub with chambers in them, and the time on the dashboard's clock."""

    store: Store
    hub: LiveHub
    now_utc_s: float = NOW_UTC_S


def ticks(chamber: str, hours: float, target_c: float = 35.0, start_c: float = 21.0) -> list[Tick]:
    """A warm-up and a hold in a garage that freezes at night. The newest is dated `NOW_UTC_S`."""
    made = []
    count = int(hours * 3600 / TICK_S)
    beer_c = start_c
    for index in range(count):
        utc_s = NOW_UTC_S - (count - 1 - index) * TICK_S
        garage_c = 3.0 - 6.0 * math.cos((utc_s % 86_400 - 14_400) / 86_400 * 2 * math.pi)
        is_heating = beer_c < target_c - 0.3
        duty = 1.0 if is_heating else 0.02 * (target_c - garage_c) / 1.6
        heat = index % 10 < round(10 * duty)
        wobble = 0.06 * math.sin(index / 11) + 0.03 * math.sin(index / 3.1)
        beer_c = min(target_c, beer_c + 1.9 * TICK_S / 3600)
        made.append(
            Tick(
                chamber,
                BOOT,
                index + 1,
                utc_s,
                utc_s - 1.7e9,
                True,
                "heating" if is_heating else "holding",
                duty,
                heat,
                False,
                beer_c=beer_c + wobble,
                garage_c=garage_c,
                pad_c=beer_c + 6 * duty,
                target_c=target_c,
                step=1,
                step_name="warm and hold",
            )
        )
    return made


def tell(scene: Scene, chamber: str, lines: list[Tick], *events: Event) -> None:
    """Store all of it and make the newest live."""
    scene.store.add([*lines, *events], scene.now_utc_s)
    scene.store.commit()
    scene.hub.heard(Presence(chamber, BOOT, "present", NOW_UTC_S, "0.1.0", 5.0), NOW_UTC_S, False)
    for event in events:
        scene.hub.heard(event, NOW_UTC_S, False)
    if lines:
        scene.hub.heard(lines[-1], NOW_UTC_S, False)


def event(chamber: str, code: str, state: str, text: str, ago_s: float, **more: object) -> Event:
    utc_s = NOW_UTC_S - ago_s
    seq = 900_000 - int(ago_s)
    return Event(chamber, BOOT, seq, utc_s, utc_s - 1.7e9, True, code, state, text, **more)


def batch(scene: Scene, chamber: str, name: str, hours: float, original_sg: float = 1.052) -> Batch:
    expected = expected_final_sg(original_sg, 0.775)
    pitched = NOW_UTC_S - hours * 3600
    return scene.store.add_batch(
        Batch(0, chamber, name, pitched, original_sg, expected, 23.0, "kveik")
    )


def gravities(scene: Scene, of: Batch, *rows: tuple[float, float, GravityUnit, float]) -> None:
    for hours_ago, entered, unit, sample_c in rows:
        taken = NOW_UTC_S - hours_ago * 3600
        scene.store.add_gravity(GravityReading(0, of.id, taken, entered, unit, sample_c))


def empty(scene: Scene) -> str:
    return "/"


def new_chamber(scene: Scene) -> str:
    tell(scene, "garage-left", ticks("garage-left", 0.5))
    return "/chambers/garage-left"


def warming(scene: Scene) -> str:
    made = ticks("garage-left", 4.5)
    tell(scene, "garage-left", made, _begun("garage-left", 4.4))
    batch(scene, "garage-left", "Farmhouse pale", 4.4)
    return "/chambers/garage-left"


def holding(scene: Scene) -> str:
    made = ticks("garage-left", 62)
    made = [each for each in made if not 20.0 < (NOW_UTC_S - each.utc_s) / 3600 < 22.5]
    chamber = "garage-left"
    tell(
        scene,
        chamber,
        made,
        _begun(chamber, 61),
        event(
            chamber,
            "beer-drifting",
            "raised",
            "The beer is at 33.8 °C, 1.2 K below its target of 35.0 °C.",
            40 * 3600,
            remedy="Look at the jacket, the pad's plug and the probe.",
            priority="medium",
        ),
        event(chamber, "beer-drifting", "cleared", "No longer so.", 39 * 3600),
        event(
            chamber,
            "step",
            "changed",
            "Hot kveik: step 2 of 3, hold until two thirds.",
            53 * 3600,
            step=2,
        ),
    )
    of = batch(scene, chamber, "Farmhouse pale", 60.8)
    sg, plato = GravityUnit.SG, GravityUnit.PLATO
    gravities(
        scene,
        of,
        (60, 1.051, sg, 24),
        (44, 9.2, plato, 34.5),
        (30, 1.022, sg, 35),
        (7, 1.0125, sg, 33),
    )
    return "/chambers/garage-left"


def probe_lost(scene: Scene) -> str:
    holding(scene)
    last = scene.hub.newest("garage-left").tick
    lost = replace(
        last,
        seq=last.seq + 1,
        beer_c=None,
        faults={"beer": "unreadable"},
        heat=False,
        heat_permit="off",
        fan_permit="off",
        vetoes=("no-beer-reading",),
        alarms=("beer-probe-lost", "clock-not-set"),
        phase="blind",
        utc_s=last.utc_s + 1,
    )
    tell(
        scene,
        "garage-left",
        [lost],
        event(
            "garage-left",
            "beer-probe-lost",
            "raised",
            "No trustworthy beer temperature (unreadable): heat and fan are off.",
            240,
            remedy="See that the beer probe is plugged in, dry and in its well.",
            priority="high",
        ),
        event(
            "garage-left",
            "clock-not-set",
            "raised",
            "The clock has not been set from the network, so dates may be wrong.",
            7200,
            remedy="See that the machine reaches a time server.",
            priority="low",
        ),
    )
    return "/chambers/garage-left"


def tripped(scene: Scene) -> str:
    warming(scene)
    last = scene.hub.newest("garage-left").tick
    locked = replace(
        last,
        seq=last.seq + 1,
        heat=False,
        heat_permit="off",
        utc_s=last.utc_s + 1,
        vetoes=("heat-without-effect",),
        trips=("heat-without-effect",),
        alarms=("tripped",),
    )
    tell(
        scene,
        "garage-left",
        [locked],
        event(
            "garage-left",
            "heat-without-effect",
            "tripped",
            "The pad has been on, and the beer has not warmed as it must have.",
            600,
            remedy="Look at the pad's plug, fuse and cut-out, at the relay, and whether the "
            "probe is in place.",
            priority="high",
        ),
        event(
            "garage-left",
            "tripped",
            "raised",
            "Stopped for safety: heat-without-effect.",
            600,
            remedy="Find the cause, then release the trip at the machine.",
            priority="high",
        ),
    )
    return "/chambers/garage-left"


def silent(scene: Scene) -> str:
    holding(scene)
    scene.now_utc_s = NOW_UTC_S + 4 * 3600
    return "/chambers/garage-left"


def cannot_reach(scene: Scene) -> str:
    chamber = "garage-left"
    made = [replace(each, beer_c=each.beer_c - 2.4, heat=True) for each in ticks(chamber, 30)]
    made[-1] = replace(made[-1], alarms=("cannot-reach",))
    tell(
        scene,
        chamber,
        made,
        event(
            chamber,
            "cannot-reach",
            "raised",
            "In a garage as cold as this the pad cannot hold the target: it would need about "
            "118 % of its watts.",
            5400,
            remedy="Add insulation or a stronger listed pad, warm the garage, or lower the target.",
            priority="medium",
        ),
    )
    batch(scene, chamber, "Farmhouse pale", 30)
    return f"/chambers/{chamber}"


def several(scene: Scene) -> str:
    cannot_reach(scene)
    tell(scene, "garage-right", ticks("garage-right", 20))
    batch(scene, "garage-right", "Second runnings", 19)
    tell(scene, "shed", [replace(each, target_c=None) for each in ticks("shed", 2)])
    return "/"


def _begun(chamber: str, hours: float) -> Event:
    text = "Hot kveik: step 1 of 3, warm up."
    return event(chamber, "profile", "begun", text, hours * 3600, step=1)


def to_be_hopped(scene: Scene) -> str:
    """A day in: the window of two thirds lies ahead, the pad's reach is known."""
    chamber = "garage-left"
    made = ticks(chamber, 27)
    made[-1] = replace(made[-1], reach_garage_c=-3.0, reach_beer_c=32.9, learned_h=24.0)
    tell(scene, chamber, made, _begun(chamber, 26))
    of = batch(scene, chamber, "Farmhouse pale", 26)
    gravities(scene, of, (20, 1.0435, GravityUnit.SG, 34), (8, 1.0355, GravityUnit.SG, 35))
    return f"/chambers/{chamber}"


def hopped(scene: Scene) -> str:
    """The hops are in for too long already, after a night in which the beer sank."""
    chamber = "garage-left"
    cold_from, cold_to = NOW_UTC_S - 72 * 3600, NOW_UTC_S - 62 * 3600
    made = [
        replace(each, beer_c=each.beer_c - 6.5, heat=True) if cold_from < each.utc_s < cold_to
        else each
        for each in ticks(chamber, 100)
    ]  # fmt: skip
    tell(scene, chamber, made, _begun(chamber, 98))
    of = batch(scene, chamber, "Farmhouse pale", 98)
    sg = GravityUnit.SG
    gravities(
        scene, of, (88, 1.046, sg, 34), (72, 1.031, sg, 35), (56, 1.0175, sg, 35),
        (30, 1.008, sg, 34), (5, 1.007, sg, 34),
    )  # fmt: skip
    went_in = NOW_UTC_S - 55 * 3600
    scene.store.add_note(Note(0, of.id, went_in, NoteKind.DRY_HOP_IN, "70 g in a bag"))
    tasted = "Peach & <b>pepper</b>, a little grassy."
    scene.store.add_note(Note(0, of.id, NOW_UTC_S - 3600, NoteKind.TASTING, tasted))
    scene.store.set_plan(of.id, Plan(hop_limit_h=48.0))
    return f"/chambers/{chamber}"


def account(scene: Scene) -> str:
    hopped(scene)
    return "/batches/1/account"


def report(scene: Scene) -> str:
    hopped(scene)
    scene.store.end_batch(1, NOW_UTC_S)
    return "/batches/1"


def packaging(scene: Scene) -> str:
    hopped(scene)
    return "/batches/1/packaging"


def packaging_day(scene: Scene) -> str:
    hopped(scene)
    tell(scene, "garage-right", ticks("garage-right", 20))
    batch(scene, "garage-right", "Second runnings", 19)
    return "/packaging-day?day=2026-01-17"


def compare(scene: Scene) -> str:
    hopped(scene)
    tell(scene, "garage-right", ticks("garage-right", 50, target_c=30.0))
    of = batch(scene, "garage-right", "Second runnings", 48)
    gravities(scene, of, (30, 1.0425, GravityUnit.SG, 30), (6, 1.026, GravityUnit.SG, 30))
    return "/compare"


def batches(scene: Scene) -> str:
    compare(scene)
    return "/batches"


def next_batch(scene: Scene) -> str:
    to_be_hopped(scene)
    return "/chambers/garage-left/batch"


STATES: dict[str, Callable[[Scene], str]] = {
    "empty": empty,
    "new-chamber": new_chamber,
    "warming": warming,
    "holding": holding,
    "probe-lost": probe_lost,
    "tripped": tripped,
    "silent": silent,
    "cannot-reach": cannot_reach,
    "several": several,
    "to-be-hopped": to_be_hopped,
    "hopped": hopped,
    "account": account,
    "report": report,
    "packaging": packaging,
    "packaging-day": packaging_day,
    "compare": compare,
    "batches": batches,
    "next-batch": next_batch,
}


def scene_of(state: str, folder: Path) -> tuple[Scene, str]:
    """The scene, and the address of the page that shows it."""
    scene = Scene(Store.open(folder / f"{state}.sqlite"), LiveHub())
    return scene, STATES[state](scene)
