"""`[notify]`: what the brewer wants to be told, when, in which units, and to which targets.

Addresses are secrets (whoever has one can write to that phone), so they stand in a file of their
own, a line each: a name, a space, the address. `http://` and `https://` addresses are sent a plain
POST; every other kind is a service's, and needs the extra `notify`. Everything wrong with the file
is said when the dashboard starts, not when the first alarm comes. Sends nothing.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

from controller.bounded import setting
from controller.errors import DiskError, SettingsError
from dashboard.facts import GravityUnit
from dashboard.notify import services
from dashboard.notify.decision import Rules
from dashboard.notify.news import PRIORITIES
from dashboard.sheet.units import TemperatureUnit, Units, zone_named

TARGETS_MAX = 10  # Why: each has a thread of its own; a household has two or three.
FILE_BYTES_MAX = 16_384  # Why: ten long addresses; a larger file is the wrong file.
_NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,30}")  # Why: it stands in forms and in the store.
_CLOCK = re.compile(r"([01]\d|2[0-3]):([0-5]\d)")  # Why: 00:00 to 23:59.


@dataclass(frozen=True, slots=True)
class NotifySettings:
    """`[notify]`: being told on a phone or by mail.

    Raises:
        SettingsError: a time, a zone or an address is none.
    """

    targets_file: str | None = setting(
        "the file that holds a name and an address a line; it is a secret", default=None
    )
    least: str = setting("the lowest priority that is told", default="medium", words=PRIORITIES)
    quiet_from: str = setting(
        "from then only what is dangerous is told; as quiet_to: never quiet", default="22:00"
    )
    quiet_to: str = setting("until then; the rest comes then, in one message", default="07:00")
    zone: str | None = setting(
        "time zone of quiet hours and messages; left out: this machine's", default=None
    )
    degrees: str = setting(
        "scale of temperatures in messages", default="celsius", words=("celsius", "fahrenheit")
    )
    gravity: str = setting("scale of gravities in messages", default="sg", words=("sg", "plato"))
    public_address: str = setting(
        "where these pages are from outside, for the link in a message; empty: no link", default=""
    )
    silent_after_s: float = setting(
        "a controller, or the broker, that is away for so long is told",
        unit="s",
        default=600.0,
        low=120,
        high=86_400,
    )
    heartbeat_file: str | None = setting(
        "the file that holds an address to call while all is well; it is a secret", default=None
    )
    heartbeat_s: float = setting(
        "how often it is called", unit="s", default=300.0, low=60, high=86_400
    )

    def __post_init__(self) -> None:
        for name in ("quiet_from", "quiet_to"):
            if not _CLOCK.fullmatch(getattr(self, name)):
                raise SettingsError(
                    f"{name}: {getattr(self, name)!r} is no time of day.", "Write it like 22:00."
                )
        if self.zone is not None and zone_named(self.zone) is None:
            raise SettingsError(
                f"zone: this machine knows no zone {self.zone!r}.", "Write it like Europe/Berlin."
            )
        if self.public_address and not is_web(self.public_address):
            raise SettingsError(
                f"public_address: {self.public_address!r} is no address of pages.",
                "Write it like https://barm.example.",
            )

    @property
    def units(self) -> Units:
        """In what messages are written."""
        degrees = TemperatureUnit.FAHRENHEIT if self.degrees == "fahrenheit" else None
        return Units(
            degrees or TemperatureUnit.CELSIUS,
            GravityUnit(self.gravity),
            zone=zone_named(self.zone or ""),
        )

    @property
    def rules(self) -> Rules:
        """What is told, and when."""
        quiet = (_minutes(self.quiet_from), _minutes(self.quiet_to))
        return Rules(self.least, quiet, zone_named(self.zone or ""))


@dataclass(frozen=True, slots=True)
class Target:
    """One way of telling somebody. The address is never printed."""

    name: str
    address: str = field(repr=False)

    @property
    def is_webhook(self) -> bool:
        """Whether it is sent a plain POST."""
        return is_web(self.address)

    @property
    def masked(self) -> str:
        """The address without anything that is secret."""
        parts = urlsplit(self.address)
        if self.is_webhook:
            return f"{parts.scheme}://{parts.hostname}/…"
        return f"{parts.scheme}://…"


def targets_in(path: str) -> tuple[Target, ...]:
    """The targets in this file; empty lines and those beginning with # are left out.

    Raises:
        DiskError: it cannot be read.
        SettingsError: a line is wrong; its number is told, never what it holds.
    """
    try:
        with Path(path).open(encoding="utf-8") as file:
            text = file.read(FILE_BYTES_MAX + 1)
    except (OSError, UnicodeDecodeError) as error:
        raise DiskError(
            f"The targets in {path} cannot be read: {error}.",
            "Check the path in [notify] targets_file, its owner and its mode.",
        ) from error
    if len(text) > FILE_BYTES_MAX:
        raise SettingsError(f"{path} is too long.", "Name the file of the targets itself.")
    found: dict[str, Target] = {}
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        target = _target(f"line {number} of {path}", line)
        if target.name in found:
            raise SettingsError(
                f"line {number} of {path}: {target.name} is there already.", "Give it another name."
            )
        found[target.name] = target
    if len(found) > TARGETS_MAX:
        raise SettingsError(f"{path} has over {TARGETS_MAX} targets.", "Leave some out.")
    return tuple(found.values())


def _target(where: str, line: str) -> Target:
    name, _, address = line.strip().partition(" ")
    address = address.strip()
    if not _NAME.fullmatch(name) or "://" not in address:
        raise SettingsError(
            f"{where} is no name and address.",
            "Write a short name in small letters, a space, and the address with its ://.",
        )
    target = Target(name, address)
    if target.is_webhook:
        if "@" in urlsplit(address).netloc:
            raise SettingsError(
                f"{where}: a plain POST sends no user and password.",
                "Use an address that is itself the secret, or a service's own kind of address.",
            )
    else:
        services.check(where, address)
    return target


def is_web(address: str) -> bool:
    """Whether this is a plain address of the web."""
    parts = urlsplit(address)
    return parts.scheme in ("http", "https") and bool(parts.hostname)


def _minutes(clock: str) -> int:
    hours, minutes = clock.split(":")
    return int(hours) * 60 + int(minutes)
