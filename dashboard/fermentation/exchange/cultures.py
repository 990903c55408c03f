"""Cultures: the brewer's own yeasts, in and out by BeerJSON.

An own yeast follows one of the nine kinds for whatever is not known of it (its course, its limits,
its days) and has its own name, ranges and procedure. It comes from a form or from any document in
the open format, and goes out in it. What the format cannot say is not smuggled in: days, limits and
the kind it follows stay with the dashboard.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from controller.beerjson import WRITTEN_VERSION, Profile, parse, to_beerjson
from dashboard.errors import EntryError
from dashboard.fermentation.exchange.measures import (
    TEXT_MAX,
    celsius,
    complaint,
    document,
    measure,
    objects,
    text_of,
)
from dashboard.fermentation.strains import Strain, strain

CULTURES_MAX = 100  # Why: a large collection.
BEER_C_MIN, BEER_C_MAX = -2.0, 45.0  # Why: ice below it, and no yeast lives above it.
SHARE_MIN, SHARE_MAX = 0.2, 1.1  # Why: apparent attenuation of any culture for beer.
# Source: BeerJSON CultureBase.type: what each is taken to follow here. Bacteria and wine yeasts
# follow the mixed kind, which promises least.
FOLLOWS: Mapping[str, str] = {
    "ale": "clean-ale",
    "kveik": "kveik",
    "lager": "lager",
    "wheat": "wheat-ale",
    "brett": "mixed",
    "mixed-culture": "mixed",
    "spontaneous": "mixed",
    "lacto": "mixed",
    "pedio": "mixed",
    "bacteria": "mixed",
    "malolactic": "mixed",
    "wine": "mixed",
    "champagne": "mixed",
    "other": "clean-ale",
}
# Source: the same list read the other way, for what goes out.
TYPES: Mapping[str, str] = {
    "kveik": "kveik",
    "lager": "lager",
    "hybrid": "lager",
    "mixed": "mixed-culture",
}


@dataclass(frozen=True, slots=True)
class OwnYeast:
    """What a brewer says of a yeast. A range is from low to high; None keeps the kind's own.

    `follows` is the short name of one of the nine kinds. Attenuations are shares of 0 to 1.1,
    temperatures °C.
    """

    name: str
    follows: str
    low_c: float | None = None
    high_c: float | None = None
    attenuation_low: float | None = None
    attenuation_high: float | None = None
    keeps_falling: bool | None = None
    procedure: Profile | None = None


def own_strain(slug: str, own: OwnYeast) -> Strain:
    """The strain to forecast with.

    Args:
        slug: its short name, chosen by whoever keeps it; not one of the nine.
        own: what is known of it.

    Raises:
        EntryError: a range is upside down or out of bounds, or there is no such kind.
    """
    kind = strain(own.follows)
    low_c, high_c = _in_order("temperature", own.low_c, own.high_c, (kind.low_c, kind.high_c))
    if not BEER_C_MIN <= low_c < high_c <= BEER_C_MAX:
        raise EntryError(
            f"{own.name}: a range of {low_c:g} to {high_c:g} °C is no yeast's.",
            f"Give temperatures from {BEER_C_MIN:g} to {BEER_C_MAX:g} °C, the lower first.",
        )
    least, most = _in_order(
        "attenuation",
        own.attenuation_low,
        own.attenuation_high,
        (kind.attenuation_low, kind.attenuation_high),
    )
    if not SHARE_MIN <= least < most <= SHARE_MAX:
        raise EntryError(
            f"{own.name}: an attenuation of {least:.0%} to {most:.0%} is no yeast's.",
            f"Give {SHARE_MIN:.0%} to {SHARE_MAX:.0%}, the lower first.",
        )
    usual_c = min(max(kind.expected.usual_c, low_c), high_c)
    expected = replace(
        kind.expected,
        usual_c=usual_c,
        floor_c=min(kind.expected.floor_c, low_c),
        ceiling_c=max(kind.expected.ceiling_c, high_c),
    )
    falls = kind.keeps_falling if own.keeps_falling is None else own.keeps_falling
    return Strain(
        slug=slug,
        name=own.name.strip()[:TEXT_MAX] or kind.name,
        category=kind.category,
        low_c=low_c,
        high_c=high_c,
        attenuation_low=least,
        attenuation_high=most,
        keeps_falling=falls,
        notes=f"Entered by the brewer; what is not known follows {kind.name}.",
        expected=expected,
        procedure=own.procedure or kind.procedure,
    )


def read_cultures(text: str) -> tuple[OwnYeast, ...]:
    """Every culture of a BeerJSON document; the first procedure of it goes with the first.

    Raises:
        EntryError: the document or a culture in it is wrong, with its place.
        SettingsError: its fermentation procedure is wrong, with its place.
    """
    root = document(text)
    found = objects(root, "cultures", "")[:CULTURES_MAX]
    if not found:
        raise EntryError(
            "The document holds no cultures.", "Choose one with a cultures list, or a recipe."
        )
    profiles = parse(text) if root.get("fermentations") else ()
    cultures = [_read(each, f"cultures[{index}]") for index, each in enumerate(found)]
    if profiles:
        cultures[0] = replace(cultures[0], procedure=profiles[0])
    return tuple(cultures)


def written(own: Strain) -> str:
    """A strain and its procedure as a BeerJSON document of format 2.06, indented."""
    root = json.loads(to_beerjson(own.procedure))["beerjson"]
    culture: dict[str, Any] = {
        "name": own.name,
        "type": TYPES.get(own.category, "ale"),
        "form": "culture",
        "temperature_range": _written_range("C", own.low_c, own.high_c),
        "attenuation_range": _written_range(
            "%", 100.0 * own.attenuation_low, 100.0 * own.attenuation_high
        ),
        "notes": own.notes,
    }
    if own.keeps_falling:
        culture["glucoamylase"] = True
    body = {"version": WRITTEN_VERSION, "cultures": [culture], **root}
    return json.dumps({"beerjson": body}, ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def _read(culture: Mapping[str, Any], path: str) -> OwnYeast:
    name = text_of(culture, "name", path)
    kind = culture.get("type")
    if not name:
        raise complaint(f"{path}.name", name, "a name")
    if not isinstance(kind, str) or kind not in FOLLOWS:
        raise complaint(f"{path}.type", kind, f"one of {', '.join(FOLLOWS)}")
    temperatures = _range_of(culture, "temperature_range", path)
    attenuations = _range_of(culture, "attenuation_range", path)
    percent = {"%": 0.01}
    where = f"{path}.attenuation_range"
    return OwnYeast(
        name=name,
        follows=FOLLOWS[kind],
        low_c=celsius(temperatures, "minimum", f"{path}.temperature_range"),
        high_c=celsius(temperatures, "maximum", f"{path}.temperature_range"),
        attenuation_low=measure(attenuations, "minimum", where, percent),
        attenuation_high=measure(attenuations, "maximum", where, percent),
        keeps_falling=True if culture.get("glucoamylase") is True else None,
    )


def _range_of(culture: Mapping[str, Any], key: str, path: str) -> dict[str, Any]:
    found = culture.get(key, {})
    if not isinstance(found, dict):
        raise complaint(f"{path}.{key}", found, "a minimum and a maximum")
    return found


def _in_order(
    what: str, low: float | None, high: float | None, kind: tuple[float, float]
) -> tuple[float, float]:
    """Both ends, the kind's where none is given; the kind's other end gives way to a given one."""
    if low is not None and high is not None and low >= high:
        raise EntryError(
            f"The {what} range begins at {low:g} and ends at {high:g}.", "Give the lower end first."
        )
    if low is None and high is None:
        return kind
    width = kind[1] - kind[0]
    if low is None:
        assert high is not None
        return min(kind[0], high - width), high
    return low, (max(kind[1], low + width) if high is None else high)


def _written_range(unit: str, low: float, high: float) -> dict[str, Any]:
    return {
        "minimum": {"unit": unit, "value": round(low, 3)},
        "maximum": {"unit": unit, "value": round(high, 3)},
    }
