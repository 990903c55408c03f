"""Lines for the tests of the dashboard's back end: plain, quick to make, told apart by seq."""

from __future__ import annotations

import math

from controller.wire import Event, Presence, Tick

START_UTC_S = 1_767_225_600.0  # 2026-01-01 00:00 UTC


def tick(seq: int, chamber: str = "cellar", boot: str = "b1", **more) -> Tick:
    wanted = {
        "utc_s": START_UTC_S + 5 * seq,
        "mono_s": 5.0 * seq,
        "synced": True,
        "phase": "holding",
        "demand": 0.25,
        "heat": seq % 4 == 0,
        "fan": False,
        "beer_c": round(35 + 0.5 * math.sin(seq / 50), 3),
        "garage_c": round(4 + 2 * math.sin(seq / 3000), 3),
        "target_c": 35.0,
    }
    return Tick(chamber=chamber, boot=boot, seq=seq, **(wanted | more))


def event(seq: int, chamber: str = "cellar", boot: str = "b1", **more) -> Event:
    wanted = {
        "utc_s": START_UTC_S + 5 * seq,
        "mono_s": 5.0 * seq,
        "synced": True,
        "code": "beer_above_band",
        "state": "raised",
        "text": "The beer is warmer than it should be.",
    }
    return Event(chamber=chamber, boot=boot, seq=seq, **(wanted | more))


def presence(state: str = "present", chamber: str = "cellar", boot: str = "b1") -> Presence:
    return Presence(chamber, boot, state, START_UTC_S, "barmkeep 0.1.0", 5.0)
