"""The page of units and time: what one reader's figures and moments are shown in.

The choice goes into a cookie of this browser, so that two people in one house may differ.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from dashboard.facts import GravityUnit
from dashboard.sheet.forms import Filled
from dashboard.sheet.units import TemperatureUnit, Units, VolumeUnit, zone_named, zone_names
from dashboard.web.pages import Pages
from dashboard.web.reader import keep_units

ZONE_CHARACTERS_MAX = 60  # Why: the longest name of a zone has 32.


@dataclass(frozen=True, slots=True)
class Choice:
    """One row of the form: its field, its name for a person, and (value, words) to choose from."""

    name: str
    title: str
    options: tuple[tuple[str, str], ...]


ROWS: tuple[Choice, ...] = (
    Choice("temperature", "Temperatures", (("c", "°C"), ("f", "°F"))),
    Choice("gravity", "Gravities", (("sg", "SG"), ("plato", "°P"))),
    Choice("volume", "Volumes", (("l", "litres"), ("gal", "US gallons"))),
)


def show(pages: Pages, request: Request) -> Response:
    """GET /preferences"""
    is_kept = request.query_params.get("kept") == "yes"
    return _page(pages, Filled(typed_of(pages.units)), is_kept=is_kept)


def write(pages: Pages, request: Request, typed: Mapping[str, str]) -> Response:
    """POST /preferences"""
    filled = units_entry(typed)
    if filled.value is None:
        return _page(pages, filled, status=422)
    answer = RedirectResponse("/preferences?kept=yes", 303)
    keep_units(request, answer, filled.value)
    return answer


def _page(
    pages: Pages, form: Filled[Units], *, is_kept: bool = False, status: int = 200
) -> Response:
    zones = sorted(zone_names())
    return pages.page(
        "preferences.html",
        status,
        form=form,
        is_kept=is_kept,
        zones=zones,
        rows=ROWS,
        now_utc_s=pages.clock(),
    )


def typed_of(units: Units) -> dict[str, str]:
    """The form filled in with what is chosen now. An empty zone is the machine's own."""
    return {
        "temperature": units.temperature.value,
        "gravity": units.gravity.value,
        "volume": units.volume.value,
        "zone": getattr(units.zone, "key", None) or "",
    }


def units_entry(typed: Mapping[str, str]) -> Filled[Units]:
    """The units a reader chose. An empty zone is the machine's own."""
    kept = {name: str(text)[:ZONE_CHARACTERS_MAX] for name, text in typed.items()}
    errors = {
        row.name: "Choose one of these."
        for row in ROWS
        if kept.get(row.name) not in {value for value, _ in row.options}
    }
    name = kept.get("zone", "").strip()
    zone = zone_named(name)
    if name and zone is None:
        errors["zone"] = f"“{name}” is no zone this machine knows. Type one like Europe/Berlin."
    if errors:
        return Filled(kept, errors=errors)
    units = Units(
        TemperatureUnit(kept["temperature"]),
        GravityUnit(kept["gravity"]),
        VolumeUnit(kept["volume"]),
        zone,
    )
    return Filled(kept, value=units)
