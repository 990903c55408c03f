"""Windows of time in a brewer's words: `Thursday evening, give or take six hours`.

A forecast is a window and is said as one; no word here is more exact than the window it stands for.
"""

from __future__ import annotations

from datetime import timedelta, tzinfo
from math import ceil

from dashboard.sheet import words

CLOCK_H_MAX = 2.0  # Why: a window as narrow as this is said with a clock time.
DAYS_H = 36.0  # Why: wider than this, hours say nothing that days do not.
WEEKDAY_DAYS_MAX = 6  # Why: a week on, the name of the weekday would mean two days.
_COUNTED = (
    "no", "an", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
    "twelve",
)  # fmt: skip
# Why: the hour at which each part of a day begins, as people here speak of it.
_PARTS = ((5, "morning"), (12, "afternoon"), (18, "evening"), (23, "night"))


def window(
    low_utc_s: float, high_utc_s: float | None, now_utc_s: float, zone: tzinfo | None
) -> str:
    """The window as a time and a margin; `high_utc_s` is None when nobody can tell."""
    if high_utc_s is None:
        return f"not before {part_of_day(low_utc_s, now_utc_s, zone)}"
    if low_utc_s <= now_utc_s:
        return f"by {part_of_day(high_utc_s, now_utc_s, zone)}, perhaps already"
    half_h = (high_utc_s - low_utc_s) / 2 / words.HOUR_S
    middle_utc_s = (low_utc_s + high_utc_s) / 2
    if half_h <= CLOCK_H_MAX:
        near_utc_s = round(middle_utc_s / 1800.0) * 1800.0
        when = f"at about {words.moment(near_utc_s, now_utc_s, zone)}"
    else:
        when = part_of_day(middle_utc_s, now_utc_s, zone)
    return f"{when}, give or take {margin(half_h)}"


def margin(half_h: float) -> str:
    """`an hour`, `six hours`, `two days`: rounded up, so that it promises no more than is known."""
    if half_h <= 0.5:
        return "half an hour"
    if half_h <= DAYS_H:
        hours = ceil(half_h - 0.25)
        count = _COUNTED[hours] if hours < len(_COUNTED) else str(hours)
        return f"{count} hour{'s' if hours > 1 else ''}"
    days = ceil(half_h / 24 - 0.25)
    return f"{_COUNTED[days] if days < len(_COUNTED) else days} days"


def part_of_day(utc_s: float, now_utc_s: float, zone: tzinfo | None) -> str:
    """As `this evening`, `tomorrow morning`, `Thursday evening`, `30 January, in the evening`.

    The hours after midnight belong to the night that began the day before.
    """
    then, now = words.local(utc_s, zone), words.local(now_utc_s, zone)
    part = next((name for hour, name in reversed(_PARTS) if then.hour >= hour), "night")
    day = then.date() - timedelta(days=1) if then.hour < _PARTS[0][0] else then.date()
    today = now.date() - timedelta(days=1) if now.hour < _PARTS[0][0] else now.date()
    days = (day - today).days
    if days == 0:
        return "tonight" if part == "night" else f"this {part}"
    if days == 1:
        return f"tomorrow {part}"
    if days == -1:
        return "last night" if part == "night" else f"yesterday {part}"
    if abs(days) <= WEEKDAY_DAYS_MAX:
        return f"{day:%A} {part}"
    when = "at night" if part == "night" else f"in the {part}"
    return f"{day.day} {day:%B}, {when}"


def hours(value_h: float) -> str:
    """A length of time: `50 minutes`, `7 hours`, `3 days`."""
    if value_h < 1.0:
        return f"{max(1, round(value_h * 60))} minutes"
    if value_h < 48.0:
        return f"{value_h:.0f} hour{'' if round(value_h) == 1 else 's'}"
    return f"{value_h / 24:.1f} days".replace(".0 days", " days")


def signed(value_h: float) -> str:
    """Whole hours with a true minus, and no minus before nought."""
    return f"{round(value_h) + 0:d}".replace("-", "\u2212")
