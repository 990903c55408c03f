"""The units a reader chose: the one place where a figure changes its unit.

Everything is stored and computed in °C, K, SG and litres; it becomes °F, °P or US gallons here, on
its way to a page or a message, and changes back here on its way in from a form. What a brewer or a
controller wrote is never changed in the store. Whether a figure makes sense is not asked here.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import tzinfo
from enum import StrEnum
from functools import cache
from zoneinfo import ZoneInfo, available_timezones

from controller.errors import BarmkeepError
from dashboard.facts import GravityUnit
from dashboard.fermentation.gravity import plato_from_sg

# Source: NIST SP 811 (2008), B.8: t/°C = (t/°F - 32)/1.8, and a difference of 1 K is 1.8 °F.
FAHRENHEIT_PER_K = 1.8
FAHRENHEIT_AT_0_C = 32.0
# Source: NIST SP 811 (2008), B.8: gallon (U.S.) = 3.785 412 E-03 m³; exactly 231 cubic inches.
LITRES_PER_GALLON = 3.785411784
TEXT_CHARACTERS_MAX = 80  # Why: the longest zone has 32 characters; more is not ours.

_NUMBER = r"[-\u2212]?\d+(?:\.\d+)?"
_CELSIUS = re.compile(rf"({_NUMBER})(?:( to | and |–)({_NUMBER}))?([ \u00a0])°C")
_KELVIN = re.compile(r"\b(\d+(?:\.\d+)?)([ \u00a0])K\b")
_IF_FAHRENHEIT = re.compile(r"If \S+ °F is meant, type \S+ \(°C\)\. ?")
_SG = re.compile(r"(?:\bSG )?\b(0\.9[89]\d|1\.[01]\d\d)\d?\b(?: SG\b)?")


class TemperatureUnit(StrEnum):
    """The scale temperatures are shown and typed in."""

    CELSIUS = "c"
    FAHRENHEIT = "f"


class VolumeUnit(StrEnum):
    """What volumes are shown and typed in."""

    LITRE = "l"
    GALLON = "gal"


@dataclass(frozen=True, slots=True)
class Units:
    """What one reader reads in. A `zone` of None is that of the machine the dashboard runs on."""

    temperature: TemperatureUnit = TemperatureUnit.CELSIUS
    gravity: GravityUnit = GravityUnit.SG
    volume: VolumeUnit = VolumeUnit.LITRE
    zone: tzinfo | None = None

    @property
    def is_fahrenheit(self) -> bool:
        """Whether temperatures are shown in °F."""
        return self.temperature is TemperatureUnit.FAHRENHEIT

    @property
    def degree(self) -> str:
        """`°C` or `°F`."""
        return "°F" if self.is_fahrenheit else "°C"

    @property
    def gravity_name(self) -> str:
        """`SG` or `°P`."""
        return "°P" if self.gravity is GravityUnit.PLATO else "SG"

    @property
    def volume_name(self) -> str:
        """`litres` or `US gallons`."""
        return "US gallons" if self.volume is VolumeUnit.GALLON else "litres"

    def degrees(self, value_c: float) -> float:
        """A temperature as it is shown."""
        return value_c * FAHRENHEIT_PER_K + FAHRENHEIT_AT_0_C if self.is_fahrenheit else value_c

    def celsius(self, shown: float) -> float:
        """A temperature as it was typed, in °C."""
        return (shown - FAHRENHEIT_AT_0_C) / FAHRENHEIT_PER_K if self.is_fahrenheit else shown

    def difference(self, value_k: float) -> float:
        """A temperature difference as it is shown."""
        return value_k * FAHRENHEIT_PER_K if self.is_fahrenheit else value_k

    def volume_shown(self, volume_l: float) -> float:
        """A volume as it is shown."""
        return volume_l / LITRES_PER_GALLON if self.volume is VolumeUnit.GALLON else volume_l

    def litres(self, shown: float) -> float:
        """A volume as it was typed, in litres."""
        return shown * LITRES_PER_GALLON if self.volume is VolumeUnit.GALLON else shown

    def gravity_value(self, value_sg: float) -> float:
        """A gravity as it is shown, for a scale; one that no scale of sugar reaches stays SG."""
        if self.gravity is GravityUnit.PLATO:
            try:
                return plato_from_sg(value_sg)
            except BarmkeepError:
                pass
        return value_sg

    def gravity_text(self, value_sg: float) -> str:
        """A gravity: `1.048` or `11.9 °P`; one that no scale of sugar reaches stays SG."""
        if self.gravity is GravityUnit.PLATO:
            try:
                plato = round(plato_from_sg(value_sg), 1) + 0.0
                return f"{plato:.1f}\u00a0°P".replace("-", "\u2212")
            except BarmkeepError:
                pass
        return f"{value_sg:.3f}"

    def reworded(self, text: str) -> str:
        """A sentence that was written in °C and K, in this reader's unit."""
        if not self.is_fahrenheit:
            return text
        text = _IF_FAHRENHEIT.sub("", text)
        text = _CELSIUS.sub(self._as_fahrenheit, text)
        return _KELVIN.sub(
            lambda found: f"{self.difference(float(found[1])):.1f}{found[2]}°F", text
        )

    def reweighed(self, text: str) -> str:
        """A sentence that was written in °C, K and SG, in this reader's units."""
        text = self.reworded(text)
        if self.gravity is GravityUnit.SG:
            return text
        return _SG.sub(lambda found: self.gravity_text(float(found[1])), text)

    def _as_fahrenheit(self, found: re.Match[str]) -> str:
        first, between, second, space = found.groups()
        shown = self._degrees_text(first)
        if second is not None:
            shown += f"{between}{self._degrees_text(second)}"
        return f"{shown}{space}°F"

    def _degrees_text(self, number: str) -> str:
        """With a decimal if it was written with one, and a true minus."""
        decimals = len(number.partition(".")[2])
        shown = round(self.degrees(float(number.replace("\u2212", "-"))), min(decimals, 1)) + 0.0
        text = f"{shown:g}" if decimals > 1 else f"{shown:.{decimals}f}"
        return text.replace("-", "\u2212")


def text_of(units: Units, zone_key: str = "") -> str:
    """The choice as one short word, for a cookie and for a form: `f:plato:gal:America/Chicago`.

    A zone without a key, and the machine's own, are left out.
    """
    key = zone_key or getattr(units.zone, "key", None) or ""
    return f"{units.temperature}:{units.gravity}:{units.volume}:{key}"


def units_of_text(text: str | None, usual: Units) -> Units:
    """The choice in such a word; `usual` for whatever it does not say, or says wrongly."""
    parts = (text or "")[:TEXT_CHARACTERS_MAX].split(":")
    if len(parts) != 4:
        return usual
    try:
        return Units(
            TemperatureUnit(parts[0]),
            GravityUnit(parts[1]),
            VolumeUnit(parts[2]),
            zone_named(parts[3]) or usual.zone,
        )
    except ValueError:
        return usual


def zone_named(key: str) -> ZoneInfo | None:
    """The time zone of this name, such as `Europe/Berlin`; None when there is none."""
    return ZoneInfo(key) if key in zone_names() else None


@cache
def zone_names() -> frozenset[str]:
    """Every zone this machine knows the rules of, such as `Europe/Berlin`."""
    known = available_timezones()
    places = {name for name in known if "/" in name and name.split("/")[0] not in _ASIDE}
    return frozenset(places | ({"UTC"} & known))


_ASIDE = ("Etc", "SystemV", "posix", "right")  # Why: no place a brewer lives in.
