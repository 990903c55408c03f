"""Recipes: what a batch begins with, from a BeerJSON document, and what became of it, back into it.

From a recipe it takes what the dashboard has a use for: volume, gravities, culture, dry hops and
the fermentation procedure, in format 2.06 or 3.0. Going out, the brewer's own document is handed
back with the measured gravities and the procedure that was run; nothing else in it is touched.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from controller.beerjson import Profile, parse, to_beerjson
from dashboard.errors import EntryError
from dashboard.fermentation.exchange.cultures import FOLLOWS
from dashboard.fermentation.exchange.measures import (
    GRAMS,
    LITRES,
    SECONDS,
    complaint,
    document,
    measure,
    objects,
    specific_gravity,
    text_of,
)

RECIPES_MAX = 100  # Why: a brewer's whole book.
GRAVITY_DIGITS = 4  # Why: one more than a hydrometer shows.


@dataclass(frozen=True, slots=True)
class PlannedHops:
    """Hops a recipe adds during fermentation. `grams` is None when given by volume or count.

    `after_h` is hours from the start of fermentation, `at_sg` the gravity to add them at,
    `contact_h` how long they stay; each None when the recipe does not say.
    """

    name: str
    grams: float | None
    after_h: float | None
    at_sg: float | None
    contact_h: float | None


@dataclass(frozen=True, slots=True)
class Recipe:
    """What a recipe says of fermentation. None: it does not say."""

    name: str
    volume_l: float | None
    original_sg: float | None
    final_sg: float | None
    culture: str | None
    follows: str | None
    attenuation: float | None
    hops: tuple[PlannedHops, ...]
    profile: Profile | None


def read_recipes(text: str) -> tuple[Recipe, ...]:
    """Every recipe of a document, in its order; at least one.

    Raises:
        EntryError: the document or a recipe in it is wrong, with its place.
        SettingsError: a fermentation procedure in it is wrong, with its place.
        GravityError: a gravity is outside its range.
    """
    root = document(text)
    found = objects(root, "recipes", "")[:RECIPES_MAX]
    if not found:
        raise EntryError(
            "The document holds no recipes.", "Choose one exported as a recipe from a program."
        )
    version = root.get("version")
    return tuple(_read(each, f"recipes[{i}]", version) for i, each in enumerate(found))


def as_brewed(
    text: str, name: str, original_sg: float, final_sg: float | None, profile: Profile | None
) -> str:
    """The document with what was measured of the recipe of this name, indented.

    Args:
        text: the document as it came in; everything else in it stays.
        name: of the recipe that was brewed.
        original_sg: measured, corrected.
        final_sg: the same; None: not finished.
        profile: the procedure that was run; None: the recipe's own.

    Raises:
        EntryError: it holds no or several recipes of this name.
    """
    root = document(text)
    fitting = [each for each in objects(root, "recipes", "") if each.get("name") == name]
    if len(fitting) != 1:
        raise EntryError(
            f"The document holds {len(fitting)} recipes called {name!r}.",
            "Give each recipe a name of its own and import it again.",
        )
    recipe = fitting[0]
    recipe["original_gravity"] = {"unit": "sg", "value": round(original_sg, GRAVITY_DIGITS)}
    if final_sg is not None:
        recipe["final_gravity"] = {"unit": "sg", "value": round(final_sg, GRAVITY_DIGITS)}
    if profile is not None:
        recipe["fermentation"] = json.loads(to_beerjson(profile))["beerjson"]["fermentations"][0]
    return json.dumps({"beerjson": root}, ensure_ascii=False, indent=2) + "\n"


def _read(recipe: Mapping[str, Any], path: str, version: Any) -> Recipe:
    name = text_of(recipe, "name", path)
    if not name:
        raise complaint(f"{path}.name", name, "a name")
    ingredients = recipe.get("ingredients", {})
    if not isinstance(ingredients, dict):
        raise complaint(f"{path}.ingredients", ingredients, "an object")
    where = f"{path}.ingredients"
    cultures = objects(ingredients, "culture_additions", where)
    first = cultures[0] if cultures else {}
    kind = first.get("type")
    percent = {"%": 0.01}
    profile = None
    if "fermentation" in recipe:
        body = {"version": version, "fermentations": [recipe["fermentation"]]}
        (profile,) = parse(json.dumps({"beerjson": body}), f"The recipe {name}")
    return Recipe(
        name=name,
        volume_l=measure(recipe, "batch_size", path, LITRES),
        original_sg=specific_gravity(recipe, "original_gravity", path),
        final_sg=specific_gravity(recipe, "final_gravity", path),
        culture=text_of(first, "name", f"{where}.culture_additions[0]") or None,
        follows=FOLLOWS.get(kind) if isinstance(kind, str) else None,
        attenuation=measure(first, "attenuation", f"{where}.culture_additions[0]", percent),
        hops=_hops(ingredients, where),
        profile=profile,
    )


def _hops(ingredients: Mapping[str, Any], path: str) -> tuple[PlannedHops, ...]:
    """The hops that go into the fermenter."""
    found = []
    for index, each in enumerate(objects(ingredients, "hop_additions", path)):
        where = f"{path}.hop_additions[{index}]"
        timing = each.get("timing", {})
        if not isinstance(timing, dict):
            raise complaint(f"{where}.timing", timing, "an object")
        if timing.get("use") != "add_to_fermentation":
            continue
        amount = each.get("amount")
        unit = amount.get("unit") if isinstance(amount, dict) else None
        after_s = measure(timing, "time", f"{where}.timing", SECONDS)
        contact_s = measure(timing, "duration", f"{where}.timing", SECONDS)
        found.append(
            PlannedHops(
                name=text_of(each, "name", where),
                grams=measure(each, "amount", where, GRAMS) if unit in GRAMS else None,
                after_h=None if after_s is None else after_s / 3600.0,
                at_sg=specific_gravity(timing, "specific_gravity", f"{where}.timing"),
                contact_h=None if contact_s is None else contact_s / 3600.0,
            )
        )
    return tuple(found)
