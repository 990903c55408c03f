"""Templates into text, with the filters that turn numbers into words. Everything is escaped."""

from __future__ import annotations

from collections.abc import Callable
from datetime import tzinfo
from pathlib import Path
from typing import Any, TypeAlias

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from dashboard.sheet import words
from dashboard.sheet.troubles import told

TEMPLATES = Path(__file__).parents[1] / "templates"
Render: TypeAlias = Callable[..., str]


def renderer(zone: tzinfo | None) -> Render:
    """A function from a template's name and its values to text. A missing value is an error."""
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters.update(
        temperature=words.temperature,
        degrees=words.degrees,
        gravity=words.gravity,
        percent=words.percent,
        told=told,
        machine_time=lambda utc_s: words.machine_time(utc_s, zone),
        moment=lambda utc_s, now_utc_s: words.moment(utc_s, now_utc_s, zone),
        short_moment=lambda utc_s: words.short_moment(utc_s, zone),
        clock=lambda utc_s, now_utc_s: words.moment_to_second(utc_s, now_utc_s, zone),
    )

    def render(template: str, **values: Any) -> str:
        return environment.get_template(template).render(**values)

    return render
