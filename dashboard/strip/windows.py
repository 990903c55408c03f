"""Which stretch of time the curve shows, and the links that move it.

A window either follows the chamber's now (`6h`, `day`, `3d`, `batch`) or stands still between two
moments from the address. Every move is an ordinary link, so the page's script adds nothing but
speed. An address that makes no sense gives the usual window, never an error.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlencode

from dashboard.facts import Batch
from dashboard.sheet.words import DAY_S, HOUR_S

SPAN_S_MIN = 900.0  # Why: in less a beer does nothing that a probe could see.
SPAN_S_MAX = 400 * DAY_S  # Why: a year and a bit; longer is not one batch.
EVERY_S_MIN = 3.0  # Why: a person sees a curve move no faster, and a phone's battery lasts.
EVERY_S_MAX = 60.0  # Why: a curve older than a minute would look stuck.
_PRESETS = (("6h", "6 h", 6 * HOUR_S), ("day", "Day", DAY_S), ("3d", "3 days", 3 * DAY_S))
_AHEAD_S_MIN = 36 * HOUR_S  # Why: on the first evening the next two are what there is to plan.
_BATCH_LEAD_S = 0.5 * HOUR_S  # Why: shows where the beer came from when it was pitched.


@dataclass(frozen=True, slots=True)
class Window:
    """A stretch of time in UTC seconds. `key` is empty when it stands still."""

    from_utc_s: float
    to_utc_s: float
    key: str = ""

    @property
    def span_s(self) -> float:
        """Its length."""
        return self.to_utc_s - self.from_utc_s


@dataclass(frozen=True, slots=True)
class Link:
    """One way to another window."""

    key: str
    text: str
    href: str
    is_shown: bool = False


def chosen(
    query: Mapping[str, str],
    batch: Batch | None,
    now_utc_s: float,
    end_utc_s: float | None = None,
) -> Window:
    """The window an address asks for; without one the batch and what is foretold of it until
    `end_utc_s`, the whole batch, or a day.
    """
    fixed = _fixed(query, now_utc_s)
    if fixed is not None:
        return fixed
    key = query.get("window", "")
    for preset, _, span_s in _PRESETS:
        if key == preset:
            return Window(now_utc_s - span_s, now_utc_s, key)
    if batch is not None and now_utc_s - batch.pitched_utc_s > 0:
        from_utc_s = batch.pitched_utc_s - _BATCH_LEAD_S
        ahead_utc_s = _ahead_utc_s(from_utc_s, now_utc_s, end_utc_s)
        if ahead_utc_s is not None and key != "batch":
            return Window(from_utc_s, ahead_utc_s, "ahead")
        span_s = min(max(now_utc_s - from_utc_s, HOUR_S), SPAN_S_MAX)
        return Window(now_utc_s - span_s, now_utc_s, "batch")
    return Window(now_utc_s - DAY_S, now_utc_s, "day")


def _ahead_utc_s(from_utc_s: float, now_utc_s: float, end_utc_s: float | None) -> float | None:
    """Where a window that looks ahead ends: no further off than the past is long, or a day and a
    half. None: there is nothing ahead.
    """
    if end_utc_s is None or end_utc_s < now_utc_s + HOUR_S:
        return None
    far_utc_s = now_utc_s + max(_AHEAD_S_MIN, now_utc_s - from_utc_s)
    return min(end_utc_s, far_utc_s, from_utc_s + SPAN_S_MAX)


def choices(
    base: str, shown: Window, batch: Batch | None, extra: str = "", *, with_ahead: bool = False
) -> tuple[Link, ...]:
    """The windows that follow the chamber's now."""
    keys = [(key, text) for key, text, _ in _PRESETS]
    if batch is not None:
        keys.append(("batch", "Whole batch"))
    if with_ahead:
        keys.append(("ahead", "And ahead"))
    return tuple(
        Link(key, text, _href(base, {"window": key}, extra), key == shown.key) for key, text in keys
    )


def moves(base: str, shown: Window, now_utc_s: float, extra: str = "") -> tuple[Link, ...]:
    """Earlier, later, closer, wider; a move that would change nothing is left out."""
    half_s = shown.span_s / 2
    middle_s = shown.to_utc_s if shown.key else (shown.from_utc_s + shown.to_utc_s) / 2
    late_s = min(half_s, now_utc_s - shown.to_utc_s)
    wanted = [("earlier", "Earlier", shown.from_utc_s - half_s, shown.to_utc_s - half_s)]
    if late_s > 1:
        wanted.append(("later", "Later", shown.from_utc_s + late_s, shown.to_utc_s + late_s))
    if half_s >= SPAN_S_MIN:
        to_utc_s = min(middle_s + half_s / 2, now_utc_s)
        wanted.append(("closer", "Closer", to_utc_s - half_s, to_utc_s))
    if 2 * shown.span_s <= SPAN_S_MAX:
        to_utc_s = min(shown.to_utc_s + half_s, now_utc_s)
        wanted.append(("wider", "Wider", to_utc_s - 2 * shown.span_s, to_utc_s))
    return tuple(
        Link(key, text, _href(base, {"from": f"{from_s:.0f}", "to": f"{to_s:.0f}"}, extra))
        for key, text, from_s, to_s in wanted
    )


def here(base: str, shown: Window, extra: str = "") -> str:
    """The address of the window that is shown."""
    if shown.key:
        return _href(base, {"window": shown.key}, extra)
    span = {"from": f"{shown.from_utc_s:.0f}", "to": f"{shown.to_utc_s:.0f}"}
    return _href(base, span, extra)


def every_s(shown: Window, bucket_s: float) -> float:
    """How often it is worth fetching a window that follows: when half a bucket is new."""
    return min(EVERY_S_MAX, max(EVERY_S_MIN, bucket_s / 2)) if shown.key else EVERY_S_MAX


def _href(base: str, query: Mapping[str, str], extra: str) -> str:
    return f"{base}?{urlencode({**query, **({'view': extra} if extra else {})})}"


def _fixed(query: Mapping[str, str], now_utc_s: float) -> Window | None:
    try:
        from_utc_s, to_utc_s = float(query["from"]), float(query["to"])
    except (KeyError, ValueError):
        return None
    if not (math.isfinite(from_utc_s) and math.isfinite(to_utc_s)):
        return None
    if not (from_utc_s >= 0 and SPAN_S_MIN <= to_utc_s - from_utc_s <= SPAN_S_MAX):
        return None
    if to_utc_s > now_utc_s + SPAN_S_MAX:
        return None
    return Window(from_utc_s, to_utc_s)
