"""Numbers, moments and spans as a person writes them.

The only place where a figure or a time of day is turned into text, in the reader's units. Times are
shown in the reader's zone, which the page names; a `zone` of None means the zone of the machine.
Decides nothing else.
"""

from __future__ import annotations

from datetime import UTC, datetime, tzinfo

from dashboard.sheet.units import Units

HOUR_S = 3600.0  # Source: SI brochure, table 8: 1 h = 3600 s.
DAY_S = 24 * HOUR_S  # Source: SI brochure, table 8: 1 d = 86 400 s.
USUAL = Units()  # Why: what is stored, in the zone of the machine.
_WEEKDAY_DAYS_MAX = 6  # Why: a week back, the name of the weekday would mean two days.


def local(utc_s: float, zone: tzinfo | None) -> datetime:
    """The moment in the zone of the page."""
    return datetime.fromtimestamp(utc_s, UTC).astimezone(zone)


def zone_of(utc_s: float, zone: tzinfo | None) -> tzinfo:
    """The zone itself, also where it is the machine's."""
    found = local(utc_s, zone).tzinfo
    assert found is not None
    return found


def machine_time(utc_s: float, zone: tzinfo | None) -> str:
    """For <time datetime=…>: ISO 8601 with the offset, to the second."""
    return local(utc_s, zone).isoformat(timespec="seconds")


def form_time(utc_s: float, zone: tzinfo | None) -> str:
    """For <input type=datetime-local>: local, to the minute."""
    return local(utc_s, zone).strftime("%Y-%m-%dT%H:%M")


def zone_name(utc_s: float, zone: tzinfo | None) -> str:
    """The short name of the zone at this moment, such as CET."""
    return local(utc_s, zone).strftime("%Z")


def moment(utc_s: float, now_utc_s: float, zone: tzinfo | None) -> str:
    """`14:20` today, `Tuesday 14:20` within the week, else `3 January 14:20` (with the year when
    it is another).
    """
    then, now = local(utc_s, zone), local(now_utc_s, zone)
    days = abs((now.date() - then.date()).days)
    if days == 0:
        return then.strftime("%H:%M")
    if days <= _WEEKDAY_DAYS_MAX:
        return then.strftime("%A %H:%M")
    year = "" if then.year == now.year else f" {then.year}"
    return f"{then.day} {then.strftime('%B')}{year} {then.strftime('%H:%M')}"


def dated(utc_s: float, zone: tzinfo | None) -> str:
    """For what is kept: `3 January 2026, 14:20`."""
    then = local(utc_s, zone)
    return f"{then.day} {then:%B %Y}, {then:%H:%M}"


def short_moment(utc_s: float, zone: tzinfo | None) -> str:
    """For a table: `Tue 14:20`."""
    return local(utc_s, zone).strftime("%a %H:%M")


def moment_to_second(utc_s: float, now_utc_s: float, zone: tzinfo | None) -> str:
    """As `moment`, with the seconds when it is today."""
    then = local(utc_s, zone)
    if then.date() == local(now_utc_s, zone).date():
        return then.strftime("%H:%M:%S")
    return moment(utc_s, now_utc_s, zone)


def temperature(value_c: float | None, units: Units = USUAL) -> str:
    """`35.0 °C`, or an em dash when there is none. The space does not break."""
    return "—" if value_c is None else f"{degrees(value_c, units)}\u00a0{units.degree}"


def degrees(value_c: float | None, units: Units = USUAL) -> str:
    """As `temperature`, for a column whose head names the unit."""
    return "—" if value_c is None else _minus(units.degrees(value_c), 1)


def difference(value_k: float, units: Units = USUAL) -> str:
    """The size of a temperature difference: `0.4 °C`."""
    return f"{abs(units.difference(value_k)):.1f}\u00a0{units.degree}"


def gravity(value_sg: float, units: Units = USUAL) -> str:
    """A gravity: `1.048`, or `11.9 °P`."""
    return units.gravity_text(value_sg)


def bare_gravity(value_sg: float, units: Units = USUAL) -> str:
    """As `gravity`, where the head or the caption names the scale."""
    return gravity(value_sg, units).partition("\u00a0")[0]


def volume(value_l: float, units: Units = USUAL) -> str:
    """`23 litres`, or `6.08 US gallons`."""
    return f"{units.volume_shown(value_l):.3g}\u00a0{units.volume_name}"


def typed(value: float) -> str:
    """A figure as a person would type it into a form: no more than one decimal, no idle nought."""
    return f"{round(value, 1):g}"


def percent(share: float) -> str:
    """A share (0 to 1) as whole per cent."""
    return f"{_minus(share * 100, 0)}\u00a0%"


def day_number(now_utc_s: float, pitched_utc_s: float) -> int:
    """Day 1 is the first 24 hours after pitching; 0 before it."""
    return int((now_utc_s - pitched_utc_s) // DAY_S) + 1 if now_utc_s >= pitched_utc_s else 0


def _minus(value: float, decimals: int) -> str:
    """A number with a true minus sign, and no minus before zero."""
    text = f"{value:.{decimals}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return text.replace("-", "\u2212")
