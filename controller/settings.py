"""Settings: one TOML file for one chamber, given to each stage as its own dataclass.

Every table of the file is the dataclass of the stage or edge that uses it; everything wrong with
the file is listed at once. What a number means is decided by its owner, and only what no single
owner can see (a profile above the limit) is checked here.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from controller.beerjson import load_profile
from controller.bounded import setting
from controller.bounded_toml import read_tables, text_of
from controller.decision.alarm_rules import AlarmSettings
from controller.decision.decide import Plan
from controller.decision.interlock_rules import LIMIT_MARGIN_K, InterlockSettings
from controller.decision.profile import Profile, Step
from controller.decision.proportioning import ProportioningSettings
from controller.decision.regulator import FanSettings, RegulatorPlan
from controller.edge.courier import BrokerSettings
from controller.edge.homie.publisher import HomieSettings
from controller.edge.journal import JournalSettings
from controller.edge.probes import ProbeSettings
from controller.edge.relays import RelaySettings
from controller.errors import DiskError, SettingsError
from controller.thermal.model import VesselSettings, vessel_of
from controller.thermal.tune import tuned
from controller.wire import CHAMBER_NAME

SHIPPED_PROFILES = Path(__file__).parent / "profiles"


@dataclass(frozen=True, slots=True)
class ChamberSettings:
    """The chamber itself.

    Raises:
        SettingsError: the name cannot be part of a topic.
    """

    name: str = setting("a short name: small letters, digits and hyphens")
    tick_s: float = setting(
        "how often it looks and decides", unit="s", default=10.0, low=5.0, high=20.0
    )

    def __post_init__(self) -> None:
        if not CHAMBER_NAME.fullmatch(self.name):
            raise SettingsError(
                f"name: {self.name!r} cannot be a chamber's name.",
                "Use up to 32 small letters, digits and hyphens, like garage-left.",
            )


@dataclass(frozen=True, slots=True)
class BatchSettings:
    """What ferments here, and how warm it should be: a target, or a profile.

    A new name begins the profile anew; the same name goes on where it was.

    Raises:
        SettingsError: both or neither are given, or a name is missing.
    """

    name: str = setting("the batch's name; a new name begins the profile anew")
    target_c: float | None = setting(
        "hold this temperature", unit="°C", default=None, low=-2.0, high=45.0
    )
    profile: str | None = setting(
        "or follow this BeerJSON file, or the name of a shipped one (hot-kveik)", default=None
    )

    def __post_init__(self) -> None:
        if (self.target_c is None) == (self.profile is None):
            raise SettingsError("give either target_c or profile.", "Write one of the two.")
        if not self.name.strip():
            raise SettingsError("name: it is empty.", "Name the batch.")


TABLES: Mapping[str, type[Any]] = {
    "chamber": ChamberSettings,
    "vessel": VesselSettings,
    "probes": ProbeSettings,
    "relays": RelaySettings,
    "fan": FanSettings,
    "batch": BatchSettings,
    "limits": InterlockSettings,
    "dosing": ProportioningSettings,
    "alarms": AlarmSettings,
    "journal": JournalSettings,
    "broker": BrokerSettings,
    "homie": HomieSettings,
}
OPTIONAL_TABLES = ("batch", "broker", "homie")


@dataclass(frozen=True, slots=True)
class Settings:
    """One chamber's settings. A table that may be left out is None when the file has none."""

    chamber: ChamberSettings
    vessel: VesselSettings
    probes: ProbeSettings
    relays: RelaySettings
    fan: FanSettings
    batch: BatchSettings | None
    limits: InterlockSettings
    dosing: ProportioningSettings
    alarms: AlarmSettings
    journal: JournalSettings
    broker: BrokerSettings | None
    homie: HomieSettings | None
    profile: Profile | None

    def plan(self) -> Plan:
        """What the decision needs of them."""
        vessel = vessel_of(self.vessel)
        fan = FanSettings("none") if self.relays.fan_gpio is None else self.fan
        return Plan(
            regulator=RegulatorPlan(vessel, tuned(vessel, self.dosing.cycle_s), fan),
            interlocks=self.limits,
            proportioning=self.dosing,
            alarms=self.alarms,
            profile=self.profile,
        )


def load(path: Path) -> Settings:
    """The settings in a file. A profile's path is taken from the file's own folder.

    Raises:
        SettingsError: its `what` lists every problem, one a line.
        DiskError: the file cannot be read.
    """
    return parse(text_of(path), path.parent)


def parse(text: str, folder: Path) -> Settings:
    """The settings in a text; relative profile paths are taken from `folder`.

    Raises:
        SettingsError: its `what` lists every problem, one a line.
    """
    problems: list[str] = []
    tables: dict[str, Any] = {}
    profile: Profile | None = None
    try:
        tables = read_tables(text, TABLES, OPTIONAL_TABLES)
    except SettingsError as error:
        problems.append(error.what)
    try:
        profile = _profile(_batch_in(text), folder)
    except (SettingsError, DiskError) as error:
        problems.append(f"batch.profile: {error.what} {error.remedy}")
    if not problems:
        problems += _across(tables, profile)
    if problems:
        raise SettingsError("\n".join(problems), "Correct the file and start again.")
    return Settings(**tables, profile=profile)


def _batch_in(text: str) -> Mapping[str, Any]:
    """The batch table as it stands, so that its profile is judged together with the rest."""
    try:
        batch = tomllib.loads(text).get("batch")
    except (tomllib.TOMLDecodeError, RecursionError):
        return {}
    return batch if isinstance(batch, dict) else {}


def _profile(batch: Mapping[str, Any], folder: Path) -> Profile | None:
    named, target_c = batch.get("profile"), batch.get("target_c")
    if isinstance(named, str):
        shipped = SHIPPED_PROFILES / f"{named}.json"
        is_shipped = "/" not in named and shipped.exists()
        return load_profile(shipped if is_shipped else folder / named)
    if isinstance(target_c, (int, float)) and not isinstance(target_c, bool):
        return holding(float(target_c))
    return None


def holding(target_c: float) -> Profile:
    """A profile of one step that holds this temperature for good."""
    return Profile("Hold", (Step(f"hold at {target_c:g} °C", target_c, target_c),))


def _across(tables: Mapping[str, Any], profile: Profile | None) -> list[str]:
    """What no single table can see."""
    problems: list[str] = []
    limit_c = tables["limits"].beer_c_max - LIMIT_MARGIN_K
    for number, step in enumerate(profile.steps if profile else (), 1):
        warmest_c = max(step.start_c, step.end_c)
        if warmest_c > limit_c:
            problems.append(
                f"batch: step {number} ({step.name}) goes to {warmest_c:g} °C, and the most that "
                f"limits.beer_c_max allows is {limit_c:g} °C; lower the step or raise the limit"
            )
    try:
        vessel_of(tables["vessel"])
    except SettingsError as error:
        problems.append(f"{error.what} {error.remedy}")
    if tables["homie"] is not None and tables["broker"] is None:
        problems.append("homie: there is no [broker] to tell; add one, or leave [homie] out")
    return problems
