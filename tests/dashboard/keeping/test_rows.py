"""A tick is split into a row and a state, and comes back the same but for what is not kept."""

from __future__ import annotations

import json
from dataclasses import fields, replace

import pytest

from controller.wire import Tick
from dashboard.keeping.rows import (
    STATE_FIELDS,
    State,
    state_body,
    state_key,
    tick_of,
    tick_row,
)
from tests.dashboard.lines import tick

NOT_KEPT = {"mono_s", "step_elapsed_s", "heat_starts", "fan_starts", "integral"} | {
    "hold_left_s",
    "shelved_left_s",
    "vessel",
    "loss_w_per_k",
    "loss_w_per_k_sd",
    "pad_learned_w",
    "pad_learned_w_sd",
    "delay_s",
    "ferment_w",  # kept by the hour, see test_store
    "ferment_w_sd",
    "learned_h",
    "reach_garage_c",
    "reach_beer_c",
    "hours_to_target",
}
IN_THE_ROW = {
    "seq",
    "utc_s",
    "beer_c",
    "garage_c",
    "target_c",
    "pad_c",
    "air_c",
    "demand",
}
OF_THE_STATE = {"chamber", "boot", "heat", "fan"}
FULL = tick(
    7,
    beer_c=34.9375,
    garage_c=-11.25,
    air_c=-55.0,
    pad_c=125.0,
    target_high_c=38.5,
    demand=-0.125,
    synced=False,
    batch="winter one",
    step=2,
    step_name="warm",
    step_elapsed_s=99.0,
    heat_permit="hold",
    fan_permit="off",
    faults={"pad": "stale"},
    offset_k={"beer": -0.0625},
    vetoes=("rest",),
    trips=("pad_over",),
    alarms=("beer_low", "probe_lost"),
    heat_starts=12,
    integral=0.5,
    alarm_states={"beer_low": "unack"},
    first_out="beer_low",
    shelved_left_s={"probe_lost": 30.0},
    hold_c=34.0,
    hold_left_s=60.0,
    begun_by="id-1",
    gravity_sg=1.0215,
)


def back(one: Tick) -> Tick:
    state = State(one.chamber, one.boot, one.heat, one.fan, json.loads(state_body(one)))
    return tick_of(tick_row(one), state)


def test_every_field_of_a_tick_has_a_place_or_is_named_as_not_kept():
    names = {each.name for each in fields(Tick)}
    assert names == NOT_KEPT | IN_THE_ROW | OF_THE_STATE | set(STATE_FIELDS)


def test_what_is_kept_comes_back_to_a_thousandth_of_a_kelvin():
    expected = replace(
        FULL,
        mono_s=0.0,
        step_elapsed_s=None,
        heat_starts=0,
        integral=0.0,
        hold_left_s=None,
        shelved_left_s={},
    )
    found = back(FULL)
    assert found.beer_c == pytest.approx(34.9375, abs=0.000501)
    assert replace(found, beer_c=34.9375) == expected


def test_an_empty_tick_comes_back_empty():
    bare = tick(1, beer_c=None, garage_c=None, target_c=None)
    assert back(bare) == replace(bare, mono_s=0.0)


def test_two_ticks_share_a_state_exactly_when_their_state_is_the_same():
    changed = {
        "heat": not FULL.heat,
        "fan": not FULL.fan,
        "phase": "other",
        "synced": True,
        "step": 3,
        "target_high_c": 1.0,
        "faults": {},
        "offset_k": {},
        "vetoes": (),
        "trips": (),
        "alarms": (),
        "alarm_states": {},
        "hold_c": 1.0,
        "gravity_sg": 1.0,
    }
    for name in {*STATE_FIELDS, "heat", "fan"}:
        other = replace(FULL, **{name: changed.get(name, "changed")})
        assert state_key(other) != state_key(FULL), name
    assert state_key(replace(FULL, seq=8, beer_c=1.0, mono_s=3.0)) == state_key(FULL)
