"""Invented transitions and news for the tests of being told."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

from dashboard.notify.news import News, State, Transition

ZONE = ZoneInfo("Europe/Stockholm")


def at(text: str) -> float:
    return datetime.fromisoformat(f"2026-01-{text}").replace(tzinfo=ZONE).timestamp()


NOON = at("15 12:00")


def transition(
    code: str = "beer-drifting",
    state: State = State.RAISED,
    true_utc_s: float = NOON,
    priority: str = "medium",
    **more,
) -> Transition:
    wanted = {
        "origin": f"event/left/b1/{code}/{state}/{true_utc_s:.0f}",
        "text": "The beer is at 33.8 °C, 1.2 K below its target of 35.0 °C.",
        "remedy": "Look at the jacket.",
        "chamber": "left",
        "thing": f"left/{code}",
    }
    return Transition(state=state, true_utc_s=true_utc_s, priority=priority, **(wanted | more))


def news(number: int, *given, noticed_utc_s: float | None = None, **more) -> News:
    made = transition(*given, **more)
    return News(number, made, made.true_utc_s if noticed_utc_s is None else noticed_utc_s)
