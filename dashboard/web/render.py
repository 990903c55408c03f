"""Templates into text, with the filters that turn numbers into words. Everything is escaped.

The filters read in the units of the reader for whom the page is made. Every form that changes
something is given the seal of the page's visitor here, so that no template can forget it.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeAlias

from jinja2 import Environment, FileSystemLoader, StrictUndefined, pass_context
from jinja2.ext import Extension
from jinja2.runtime import Context

from dashboard.access.roles import visitor
from dashboard.access.ways import SEAL_FIELD
from dashboard.sheet import words
from dashboard.sheet.asked import SHELF_HOURS
from dashboard.sheet.troubles import told
from dashboard.sheet.units import Units

TEMPLATES = Path(__file__).parents[1] / "templates"
STATIC = Path(__file__).parents[1] / "static"
Render: TypeAlias = Callable[..., str]
_FORM = re.compile(r'<form method="post"[^>]*>')
_SEAL = f'<input type="hidden" name="{SEAL_FIELD}" value="{{{{ visitor().seal }}}}">'


class _Sealed(Extension):
    """Puts the seal into every form of every template."""

    def preprocess(self, source: str, name: str | None, filename: str | None = None) -> str:
        return _FORM.sub(lambda found: found[0] + _SEAL, source)


def renderer(note: str = "", *, is_telling: bool = False) -> Render:
    """A function from a template's name, a reader's units and the page's values to text. A missing
    value is an error. `note` stands at the foot of pages that ask nobody for a name.
    """
    environment = Environment(
        extensions=[_Sealed],
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals.update(
        visitor=visitor, note=note, shelf_hours=SHELF_HOURS, is_telling=is_telling
    )
    environment.filters.update(
        temperature=_in_units(words.temperature),
        degrees=_in_units(words.degrees),
        gravity=_in_units(words.gravity),
        bare_gravity=_in_units(words.bare_gravity),
        volume=_in_units(words.volume),
        told=_in_units(told),
        percent=words.percent,
        machine_time=_in_zone(words.machine_time),
        moment=_in_zone(words.moment),
        date=_in_zone(words.dated),
        short_moment=_in_zone(words.short_moment),
        clock=_in_zone(words.moment_to_second),
    )

    def render(template: str, units: Units, **values: Any) -> str:
        return environment.get_template(template).render(units=units, **values)

    return render


def _in_units(say: Callable[..., str]) -> Callable[..., str]:
    """A filter that is told the reader's units."""

    def said(context: Context, value: Any) -> str:
        return say(value, context["units"])

    return pass_context(said)


def _in_zone(say: Callable[..., str]) -> Callable[..., str]:
    """A filter that is told the reader's time zone."""

    def said(context: Context, *moments: float) -> str:
        return say(*moments, context["units"].zone)

    return pass_context(said)
