"""The packaging page of a batch: the gas it still holds, a keg's pressure, sugar for bottles.

A form of the kind that asks and changes nothing; every figure comes with its convention and its
cautions, and sugar is refused before terminal gravity is proved.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from starlette.requests import Request
from starlette.responses import Response

from controller.errors import BarmkeepError
from dashboard.fermentation.packaging import (
    Figure,
    Sugar,
    keg_kpa,
    priming_g,
    psi,
    residual_volumes,
)
from dashboard.sheet import ahead, words
from dashboard.sheet.forms import Filled, Reader
from dashboard.sheet.units import Units, VolumeUnit
from dashboard.web.brewing import found as batches
from dashboard.web.brewing.found import Found
from dashboard.web.pages import Pages

VOLUMES = 2.4  # Why: the middle of what most ales want, common practice, no source.
KEG_C = 4.0  # Why: a fridge.
G_PER_OUNCE = 28.349523125  # Source: international avoirdupois ounce, exact by definition.
HEIGHT_M_MAX = 5000.0  # Why: above it nobody brews.


@dataclass(frozen=True, slots=True)
class Answer:
    """One figure in words, or why there is none."""

    title: str
    text: str
    convention: str = ""
    cautions: tuple[str, ...] = ()
    remedy: str = ""


def show(pages: Pages, request: Request) -> Response:
    """GET /batches/{batch}/packaging"""
    found = batches.named(pages, request)
    usual = _usual(pages, found)
    asked = {name: text for name, text in request.query_params.items() if name in usual}
    typed = usual | asked
    reader = Reader(typed, pages.units)
    answers = _answers(reader, found) if found.view is not None else ()
    return pages.page(
        "packaging.html",
        422 if reader.errors else 200,
        batch=found.batch,
        form=Filled(typed, errors=reader.errors),
        sugars=tuple((each.name.lower(), each.words) for each in Sugar),
        answers=answers,
    )


def _usual(pages: Pages, found: Found) -> dict[str, str]:
    units = pages.units
    return {
        "volumes": f"{VOLUMES:g}",
        "hottest": words.typed(units.degrees(hottest_c(pages, found))),
        "keg": words.typed(units.degrees(KEG_C)),
        "volume": words.typed(units.volume_shown(found.batch.volume_l)),
        "height": "0",
        "sugar": Sugar.SUCROSE.name.lower(),
    }


def hottest_c(pages: Pages, found: Found) -> float:
    """The highest temperature since the ferment stopped working; before it has, the newest."""
    hours = pages.foresight.hours(found.batch, found.now_utc_s)
    measured = [each for each in hours if each.beer_high_c is not None]
    if not measured:
        return 20.0
    end_h = None if found.view is None else found.view.forecast.terminal.middle_h
    since_utc_s = (
        found.now_utc_s if end_h is None or found.view is None else found.view.utc_s(end_h)
    )
    since = [each for each in measured if each.start_utc_s >= since_utc_s] or measured[-1:]
    return max(each.beer_high_c for each in since if each.beer_high_c is not None)


def _answers(reader: Reader, found: Found) -> tuple[Answer, ...]:
    units = reader.units
    assert found.view is not None
    verdict = found.view.verdict
    volumes = reader.number("volumes", "2.4")
    hottest, keg_c = reader.celsius("hottest", 20.0), reader.celsius("keg", KEG_C)
    litres = units.litres(reader.number("volume", "20"))
    height_m = reader.number("height", "0")
    if "height" not in reader.errors and not 0.0 <= height_m <= HEIGHT_M_MAX:
        reader.errors["height"] = f"Type metres from 0 to {HEIGHT_M_MAX:.0f}."
    if reader.errors:
        return ()
    chosen = reader.typed.get("sugar", "")
    sugar = next((each for each in Sugar if each.name.lower() == chosen), Sugar.SUCROSE)
    return (
        _answer(
            "Gas it still holds",
            lambda: residual_volumes(hottest),
            lambda figure: f"{figure.value:.2f} volumes of CO2",
            units,
        ),
        _answer(
            "Pressure in the keg",
            lambda: keg_kpa(volumes, keg_c, height_m),
            lambda figure: (
                f"{figure.value:.0f} kPa ({figure.value / 100:.2f} bar,"
                f" {psi(figure.value):.0f} psi) on the gauge"
            ),
            units,
        ),
        _answer(
            "Sugar for bottles",
            lambda: priming_g(volumes, hottest, litres, sugar, verdict),
            lambda figure: _weight(figure, units),
            units,
        ),
    )


def _answer(
    title: str, reckon: Callable[[], Figure], say: Callable[[Figure], str], units: Units
) -> Answer:
    try:
        figure = reckon()
    except BarmkeepError as error:
        return Answer(title, ahead.said(error.what, units), remedy=ahead.said(error.remedy, units))
    cautions = tuple(ahead.said(each, units) for each in figure.cautions)
    return Answer(title, f"{say(figure)}.", ahead.said(figure.convention, units), cautions)


def _weight(figure: Figure, units: Units) -> str:
    if units.volume is VolumeUnit.GALLON:
        return f"{figure.value:.0f} g ({figure.value / G_PER_OUNCE:.1f} oz)"
    return f"{figure.value:.0f} g"
