"""The broker: where it is, who we are to it, and a client that is set up for it.

Every option of the client that matters is passed here. Nobody is anonymous on another machine.
What is sent and when is courier.py's.
"""

from __future__ import annotations

import ipaddress
import logging
from dataclasses import dataclass
from pathlib import Path

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from controller.bounded import setting
from controller.errors import BrokerError, SettingsError

PORT = 1883  # Source: IANA, mqtt.
TLS_PORT = 8883  # Source: IANA, secure-mqtt.
RECONNECT_S = (1, 30)  # Why: paho doubles from the first to the second.
IN_FLIGHT_MAX = 100  # Why: paho's 20 would hold a catch-up to 20 lines a round trip.
PRESENCES_MAX = 100  # Why: room for what is not a line, so that a line never crowds it out.

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class BrokerSettings:
    """Where the broker is and who we are to it.

    Raises:
        SettingsError: no host, half of a user and password, or nobody on another machine.
    """

    host: str = setting("the broker's name or address", default="localhost")
    port: int | None = setting(
        "the broker's port; 1883, or 8883 with TLS, when not given", default=None, low=1, high=65535
    )
    user: str | None = setting("who the controller is to the broker", default=None)
    password_file: str | None = setting("the file that holds its password", default=None)
    tls_ca_file: str | None = setting("certificate to trust; given: TLS is used", default=None)

    def __post_init__(self) -> None:
        if not self.host.strip():
            raise SettingsError("host: it is empty.", "Name the broker's machine, or localhost.")
        if (self.user is None) != (self.password_file is None):
            raise SettingsError("user and password_file go together.", "Give both, or neither.")
        if self.user is None and not is_loopback(self.host):
            raise SettingsError(
                f"the broker on {self.host} would be used without a user.",
                "Give user and password_file; only this machine's own broker needs none.",
            )

    @property
    def port_used(self) -> int:
        """The port that was given, or the usual one."""
        return self.port or (PORT if self.tls_ca_file is None else TLS_PORT)


def is_loopback(host: str) -> bool:
    """Whether a name or address can only be this machine."""
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host.lower() == "localhost"


def client_of(settings: BrokerSettings, client_id: str, window: int) -> mqtt.Client:
    """A client for this broker, not yet connected, whose queue never grows beyond two windows.

    A broken connection leaves one window in its queue, and the next connection brings another.

    Raises:
        BrokerError: the password or the certificate cannot be read.
    """
    client = mqtt.Client(
        callback_api_version=CallbackAPIVersion.VERSION2,
        client_id=client_id,
        clean_session=True,  # Why: what is not stored is sent again; the broker keeps nothing.
        protocol=mqtt.MQTTv311,
        reconnect_on_failure=True,
    )
    client.suppress_exceptions = True  # Why: a slip in a callback would end the network's thread.
    client.enable_logger(_log)
    client.max_inflight_messages_set(IN_FLIGHT_MAX)
    client.max_queued_messages_set(2 * window + PRESENCES_MAX)
    client.reconnect_delay_set(*RECONNECT_S)
    try:
        if settings.user is not None and settings.password_file is not None:
            secret = Path(settings.password_file).read_text(encoding="utf-8").rstrip("\r\n")
            client.username_pw_set(settings.user, secret)
        if settings.tls_ca_file is not None:
            client.tls_set(ca_certs=settings.tls_ca_file)
    except (OSError, ValueError) as error:
        raise BrokerError(
            f"The password or certificate for the broker cannot be used ({error}).",
            "Check password_file and tls_ca_file, and that this user may read them.",
        ) from error
    return client
