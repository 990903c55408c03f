"""Publishes the chamber as a Homie 5 device, and takes a target from a hub where that is allowed.

A client of its own, because a connection has one last will and this one's is `$state` = `lost`. It
tells the newest state and never the past; nothing of it is kept for a broker that is away. What a
hub asks becomes an ordinary order, a hold that ends by itself, and goes through the same door and
the same limits as any other. It never blocks and never raises.
"""

from __future__ import annotations

import logging
import threading
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.reasoncodes import ReasonCode

from controller import wire
from controller.bounded import setting
from controller.edge.broker import BrokerSettings, client_of
from controller.edge.clock import Clock
from controller.edge.homie.device import (
    ALERTS,
    Fitted,
    alerts,
    description,
    target_asked,
    values,
    words_of,
)
from controller.errors import SettingsError
from controller.order_kinds import HOLD_S_MAX
from controller.wire import CHAMBER_NAME, Line, Order, Tick

QOS = 2  # Source: Homie convention: QoS 2 is recommended for everything but what is not retained.
# Why: Mosquitto takes 20 of QoS 2 at once; measured (2.0.11): of more, the last overtook the first.
IN_FLIGHT_MAX = 10
KEEP_ALIVE_S = 30  # Why: the broker says `lost` for us within 45 s.
WINDOW = 200  # Why: everything there is to say, twice over.
TTL_S = 60.0  # Why: a hub's wish is for now; a minute later somebody wishes another.
SET = "beer/target/set"
CLOSE_S = 2.0  # Why: stopping must stay well within systemd's patience.

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class HomieSettings:
    """`[homie]`: leave the table out and no hub is told of the chamber.

    Raises:
        SettingsError: the domain cannot be one.
    """

    domain: str = setting("the first part of the topics, which hubs look for", default="homie")
    settable: bool = setting(
        "whether a hub may ask for a target: held for two hours, within this chamber's limits",
        default=False,
    )

    def __post_init__(self) -> None:
        if not CHAMBER_NAME.fullmatch(self.domain):
            raise SettingsError(
                f"domain: {self.domain!r} cannot be part of a topic.",
                "Use small letters, digits and hyphens, like homie.",
            )


class Publisher:
    """The device at the broker.

    Args:
        settings: how it is called there, and whether it may be asked.
        broker: the broker, which must let this chamber's user write its device.
        fitted: what the chamber has.
        clock: by which an order is dated. Also asked by the network's thread.
        ask: takes an order's line in, like the inbox does.

    Raises:
        BrokerError: the password or the certificate cannot be read.
    """

    def __init__(
        self,
        settings: HomieSettings,
        broker: BrokerSettings,
        fitted: Fitted,
        clock: Clock,
        ask: Callable[[bytes, bool], None],
    ) -> None:
        self._root = f"{settings.domain}/5/{fitted.chamber}"
        self._fitted = fitted
        self._clock = clock
        self._ask = ask
        self._lock = threading.Lock()
        self._values: dict[str, str] = {}
        self._alerts: dict[str, str] = {}
        self._words: dict[str, str] = {}
        self._is_up = False
        self._is_told_anew = False
        self.refused = 0
        self._client = client_of(broker, f"barmkeep-{fitted.chamber}-homie", WINDOW)
        self._client.max_inflight_messages_set(IN_FLIGHT_MAX)
        self._client.will_set(f"{self._root}/$state", "lost", qos=QOS, retain=True)
        self._client.on_connect = self._on_connect
        self._client.on_disconnect = self._on_disconnect
        self._client.on_message = self._on_message
        self._client.connect_async(broker.host, broker.port_used, KEEP_ALIVE_S)
        self._client.loop_start()

    def show(self, lines: tuple[Line, ...]) -> None:
        """Tell what has changed with the tick among these lines. Never blocks, never raises."""
        try:
            for tick in lines:
                if isinstance(tick, Tick):
                    with self._lock:
                        self._words |= words_of(lines)
                        self._tell(values(self._fitted, tick), alerts(tick, self._words))
        except Exception:  # Why: telling must never end controlling; the next turn tries again.
            _log.exception("The hub could not be told.")

    def close(self) -> None:
        """Say that the device goes, give it a bounded time to go out, and disconnect."""
        try:
            if self._is_up:
                said = self._publish("$state", "disconnected")
                said.wait_for_publish(CLOSE_S)
            self._client.disconnect()
        except Exception as error:
            _log.warning("The hub was not told of the stop: %s", error)
        ending = threading.Thread(target=self._client.loop_stop, daemon=True)
        ending.start()
        ending.join(CLOSE_S)

    def _tell(self, found: dict[str, str], standing: dict[str, str]) -> None:
        """Publish what differs from what was told; while the broker is away only note it."""
        changed = {name: text for name, text in found.items() if self._values.get(name) != text}
        gone = self._alerts.keys() - standing.keys()
        raised = {code: text for code, text in standing.items() if self._alerts.get(code) != text}
        self._values |= changed
        self._alerts = standing
        if not self._is_up:
            return
        if self._is_told_anew:
            # What was under way when a connection broke is sent again after what was told on the
            # new one, so that everything is told once more with the next turn.
            self._is_told_anew = False
            self._tell_all()
            return
        for name, text in changed.items():
            self._publish(name, text)
        for code, text in raised.items():
            self._publish(f"$alert/{code}", text)
        for code in gone:
            self._publish(f"$alert/{code}", "")

    def _tell_all(self) -> None:
        for name, text in self._values.items():
            self._publish(name, text)
        for code in ALERTS:
            self._publish(f"$alert/{code}", self._alerts.get(code, ""))
        self._publish("$state", "ready")

    def _publish(self, name: str, text: str) -> mqtt.MQTTMessageInfo:
        return self._client.publish(f"{self._root}/{name}", text, qos=QOS, retain=True)

    # The network's thread.

    def _on_connect(
        self, client: mqtt.Client, _mine: Any, _flags: Any, reason: ReasonCode, _properties: Any
    ) -> None:
        """The whole device anew: a broker that was killed has forgotten what it kept."""
        if reason.is_failure:
            _log.warning("The broker refused the hub's device: %s", reason)
            return
        with self._lock:
            self._publish("$state", "init")
            self._publish("$description", description(self._fitted))
            self._tell_all()
            if self._fitted.is_settable:
                client.subscribe(f"{self._root}/{SET}", QOS)
            self._is_up = self._is_told_anew = True

    def _on_disconnect(
        self, _client: mqtt.Client, _mine: Any, _flags: Any, reason: ReasonCode, _properties: Any
    ) -> None:
        self._is_up = False
        _log.info("The hub's broker is gone: %s", reason)

    def _on_message(self, _client: mqtt.Client, _mine: Any, message: mqtt.MQTTMessage) -> None:
        target_c = None if message.retain else target_asked(bytes(message.payload), self._fitted)
        if target_c is None or not self._fitted.is_settable:
            self.refused += 1
            if self.refused & (self.refused - 1) == 0:  # The 1st, 2nd, 4th, 8th… is told.
                _log.warning("Ignored %d targets from a hub so far.", self.refused)
            return
        order = Order(
            self._fitted.chamber,
            f"homie-{uuid.uuid4()}",
            "homie",
            self._clock.now().utc_s,
            TTL_S,
            "hold",
            target_c=target_c,
            for_s=HOLD_S_MAX,
        )
        self._ask(wire.encode(order).encode(), False)
