"""The dashboard's settings: what `dashboard.toml` may say, and its one reading into values.

Strict and bounded; every problem is listed at once. A secret stands in a file of its own, which the
settings only name. Nothing is decided here.
"""

from __future__ import annotations

import ipaddress
from dataclasses import dataclass
from pathlib import Path

from controller.bounded import setting
from controller.bounded_toml import read_tables, text_of
from controller.errors import DiskError, SettingsError
from dashboard.access.gate import networks
from dashboard.notify.choices import NotifySettings

SECRET_BYTES_MAX = 4096  # Why: a password, with room; a larger file is the wrong file.


@dataclass(frozen=True, slots=True)
class WebSettings:
    """`[web]`: where the pages are served, and whether visitors must sign in.

    Raises:
        SettingsError: they would be open to another machine.
    """

    host: str = setting("address to listen on; 127.0.0.1: this machine only", default="127.0.0.1")
    port: int = setting("port to listen on", default=8124, low=1, high=65_535)
    names: tuple[str, ...] = setting(
        "names by which browsers reach the page, besides this machine's own", default=()
    )

    needs_login: bool | None = setting(
        "whether visitors must sign in; left out: as soon as there is a user, and always where"
        " another machine could reach the pages",
        default=None,
    )
    open_metrics: bool = setting(
        "whether /metrics is answered without a token; it tells strangers what ferments",
        default=False,
    )
    proxies: tuple[str, ...] = setting(
        "addresses of proxies whose word on where a visitor comes from is believed", default=()
    )

    def __post_init__(self) -> None:
        networks(self.proxies)
        if not is_loopback(self.host) and self.needs_login is False:
            raise SettingsError(
                f"host: pages that ask nobody for a name are not served on {self.host!r}.",
                "Leave needs_login out, or keep 127.0.0.1.",
            )

    @property
    def always_asks(self) -> bool | None:
        """Whether visitors must sign in though there is no user; None: as soon as there is one."""
        is_reached = not is_loopback(self.host) or bool(self.proxies)
        return True if is_reached and self.needs_login is None else self.needs_login


@dataclass(frozen=True, slots=True)
class BrokerSettings:
    """`[broker]`: where the controllers are heard."""

    host: str = setting("the broker's name or address", default="127.0.0.1")
    port: int = setting("the broker's port", default=1883, low=1, high=65_535)
    user: str | None = setting("who the dashboard is to the broker", default=None)
    password_file: str | None = setting("the file that holds its password", default=None)
    tls_ca_file: str | None = setting("certificate to trust; given: TLS is used", default=None)
    client_id: str = setting("must differ between dashboards", default="barmkeep-dashboard")

    def __post_init__(self) -> None:
        if not self.host or not self.client_id:
            raise SettingsError("host and client_id must not be empty.", "Fill them in.")
        if self.user is None and not is_loopback(self.host):
            raise SettingsError(
                f"a broker on another machine ({self.host}) without a user.",
                "Give user and password_file; without them only this machine is spoken to.",
            )
        if (self.user is None) != (self.password_file is None):
            raise SettingsError(
                "user and password_file go together.", "Give both, or neither on this machine."
            )


@dataclass(frozen=True, slots=True)
class StoreSettings:
    """`[store]`: what is kept, and how often it is written."""

    path: str = setting("the database file; its folder must exist")
    commit_s: float = setting(
        "ticks are written this often; a power cut costs no more, and they are sent again",
        unit="s",
        default=60.0,
        low=1,
        high=600,
    )


@dataclass(frozen=True, slots=True)
class HydrometerSettings:
    """`[hydrometer]`: what the form assumes until the brewer says otherwise."""

    calibrated_c: float = setting(
        "temperature your hydrometer is made for", unit="°C", default=20.0, low=10, high=30
    )


@dataclass(frozen=True, slots=True)
class DashboardSettings:
    """The whole file."""

    web: WebSettings
    broker: BrokerSettings
    store: StoreSettings
    hydrometer: HydrometerSettings
    notify: NotifySettings = NotifySettings()


TABLES = {
    "web": WebSettings,
    "broker": BrokerSettings,
    "store": StoreSettings,
    "hydrometer": HydrometerSettings,
    "notify": NotifySettings,
}


def settings_of(text: str) -> DashboardSettings:
    """The settings in this text.

    Raises:
        SettingsError: its `what` lists every problem.
    """
    return DashboardSettings(**read_tables(text, TABLES))


def read(path: Path) -> DashboardSettings:
    """The settings in this file.

    Raises:
        DiskError: the file cannot be read.
        SettingsError: its `what` lists every problem.
    """
    return settings_of(text_of(path))


def secret(path: str) -> str:
    """The password in this file, without its line end.

    Raises:
        DiskError: the file cannot be read, or holds no password.
    """
    try:
        with Path(path).open(encoding="utf-8") as file:
            text = file.read(SECRET_BYTES_MAX + 1).rstrip("\r\n")
    except (OSError, UnicodeDecodeError) as error:
        remedy = "Check the path, its owner and its mode."
        raise DiskError(f"The password file {path} cannot be read: {error}.", remedy) from error
    if not text or len(text) > SECRET_BYTES_MAX or "\n" in text:
        raise DiskError(
            f"The password file {path} does not hold one line.", "Write the password alone into it."
        )
    return text


def is_loopback(host: str) -> bool:
    """Whether this name or address can only be this machine."""
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host.lower() == "localhost"
