"""From the broker into the store: decode, keep, commit, and say how far everything is committed.

The broker's own acknowledgement only says that a line reached this program's memory. What a
controller may forget is told by `stored`, after the commit; so a line lost on the way, in the
broker or here, is sent again, and the store keeps it once. Three threads meet here and nowhere
else: the broker's (`_listen`), which takes messages in; the commit's (`_commit_on`), which writes
them at once for an event or a full load, else after `commit_s`; and whoever asks for `trouble`.
Nothing that arrives can end either thread.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode
from paho.mqtt.reasoncodes import ReasonCode

from controller.errors import BarmkeepError, BrokerError, WireError
from controller.wire import (
    Event,
    Order,
    Presence,
    PresenceState,
    Reply,
    Stored,
    Tick,
    decode,
    encode,
    rule_of,
    topic,
)
from dashboard import measured
from dashboard.errors import EntryError
from dashboard.live import LiveHub
from dashboard.settings import BrokerSettings, secret
from dashboard.store import Store

LOAD_LINES = 500  # Why: a commit costs one wait for the disk; shared by 500 lines it is nothing.
KEEP_ALIVE_S = 30  # Why: a dead connection is noticed within 45 s, by either side.
RECONNECT_S_MIN = 1  # Why: paho doubles the wait from here up to the maximum.
RECONNECT_S_MAX = 30  # Why: a broker that is back is found within half a minute.
RESTART_S = 5.0  # Why: only a bug brings us there; it must not become a busy loop.
GOODBYE_S = 0.2  # Why: how soon a goodbye that was forgotten is said again.
QUEUED_MAX = 200  # Why: `stored` is said again after every commit; a long queue says nothing new.
MEASURED_QOS = 1  # Why: a device's reading comes once; it is kept once however often it arrives.
HEARD = (Tick, Event, Presence, Reply)

_log = logging.getLogger(__name__)


class Ingest:
    """Keeps the store and the live view fed from one broker, for as long as it runs.

    `now_utc_s` is the dashboard's own clock.
    """

    def __init__(
        self,
        broker: BrokerSettings,
        store: Store,
        hub: LiveHub,
        now_utc_s: Callable[[], float],
        commit_s: float,
    ) -> None:
        self._broker = broker
        self._store = store
        self._hub = hub
        self._now_utc_s = now_utc_s
        self._commit_s = commit_s
        self._stopping = threading.Event()
        self._due = threading.Event()
        self._broker_trouble: str | None = "The broker has not answered yet."
        self._disk_trouble: str | None = None
        self.junk = 0
        self._client = self._built()
        self._threads = (
            threading.Thread(target=self._listen, name="broker", daemon=True),
            threading.Thread(target=self._commit_on, name="commit", daemon=True),
        )

    def start(self) -> None:
        """Begin to listen. An absent broker is waited for."""
        for known in self._store.chambers():
            self._hub.recall(known.name, known.last_tick, known.presence, known.heard_utc_s)
        self._connect()
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        """Say goodbye to the broker and commit what waits."""
        self._stopping.set()
        self._due.set()
        self._threads[1].join()
        while self._threads[0].is_alive():
            # Again and again: a goodbye said before the first connection is forgotten over it.
            self._client.disconnect()
            self._threads[0].join(GOODBYE_S)

    @property
    def trouble(self) -> str | None:
        """What keeps messages from being heard or kept now, in words; None when all is well."""
        return self._disk_trouble or self._broker_trouble

    def say(self, order: Order) -> bool:
        """Whether an order is on its way to its chamber. From any thread.

        Without a broker it is not kept for later: it would arrive when nobody means it any more.
        """
        if not self._client.is_connected():
            return False
        name = topic(order.chamber, Order)
        said = self._client.publish(name, encode(order), qos=rule_of(Order).qos, retain=False)
        return said.rc == MQTTErrorCode.MQTT_ERR_SUCCESS

    def _built(self) -> mqtt.Client:
        broker = self._broker
        client = mqtt.Client(
            callback_api_version=CallbackAPIVersion.VERSION2,
            client_id=broker.client_id,
            clean_session=False,
            protocol=mqtt.MQTTv311,
            reconnect_on_failure=True,
            # Held back until the commit, twenty lines would fill the broker's window for a minute
            # and stop the live view. Safety rests on `stored`, which only follows a commit.
            manual_ack=False,
        )
        client.suppress_exceptions = True  # A slip in a callback would end the network's thread.
        client.max_queued_messages_set(QUEUED_MAX)
        client.reconnect_delay_set(RECONNECT_S_MIN, RECONNECT_S_MAX)
        if broker.user is not None and broker.password_file is not None:
            client.username_pw_set(broker.user, secret(broker.password_file))
        if broker.tls_ca_file is not None:
            try:
                client.tls_set(ca_certs=broker.tls_ca_file)
            except OSError as error:
                raise BrokerError(
                    f"The certificate {broker.tls_ca_file} cannot be used: {error}.",
                    "Check the path in [broker] tls_ca_file.",
                ) from error
        client.on_connect = self._on_connect
        client.on_connect_fail = self._on_connect_fail
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        return client

    # The broker's thread.

    def _listen(self) -> None:
        while not self._stopping.is_set():
            try:
                self._client.loop_forever(retry_first_connection=True)
            except Exception:  # A bug of ours or of the library's must not end the listening.
                _log.exception("Listening to the broker failed; beginning again.")
            if not self._stopping.wait(RESTART_S):
                self._connect()

    def _connect(self) -> None:
        self._client.connect_async(self._broker.host, self._broker.port, KEEP_ALIVE_S)

    def _on_connect(
        self, client: mqtt.Client, _mine: Any, _flags: Any, reason: ReasonCode, _properties: Any
    ) -> None:
        if reason.is_failure:
            self._broker_trouble = f"The broker refused us: {reason}."
            return
        heard = [(topic("+", kind), rule_of(kind).qos) for kind in HEARD]
        client.subscribe([*heard, (measured.TOPIC.format(chamber="+"), MEASURED_QOS)])

    def _on_subscribe(
        self, _client: mqtt.Client, _mine: Any, _mid: int, reasons: list[ReasonCode], _p: Any
    ) -> None:
        refused = any(reason.is_failure for reason in reasons)
        self._broker_trouble = "The broker lets us hear nothing." if refused else None

    def _on_connect_fail(self, _client: mqtt.Client, _mine: Any) -> None:
        where = f"{self._broker.host}:{self._broker.port}"
        self._broker_trouble = f"The broker {where} does not answer."

    def _on_disconnect(
        self, _client: mqtt.Client, _mine: Any, _flags: Any, reason: ReasonCode, _properties: Any
    ) -> None:
        if not self._broker_trouble:
            self._broker_trouble = f"The broker is gone ({reason})."

    def _on_message(self, _client: mqtt.Client, _mine: Any, message: mqtt.MQTTMessage) -> None:
        try:
            self._take_in(message.topic, bytes(message.payload), message.retain)
        except (WireError, EntryError, UnicodeDecodeError) as error:
            self.junk += 1
            if self.junk & (self.junk - 1) == 0:  # The 1st, 2nd, 4th, 8th… is logged.
                _log.warning("Refused %d messages so far; the newest: %s", self.junk, error)
        except BarmkeepError as error:
            self._disk_trouble = f"{error.what} {error.remedy}"
        except Exception:
            _log.exception("A message could not be taken in.")

    def _take_in(self, heard_on: str, payload: bytes, retained: bool) -> None:
        if measured.is_measurement(heard_on):
            if not retained:  # One that the broker kept was measured nobody knows when.
                measured.take_message(self._store, heard_on, payload, self._now_utc_s())
            return
        message = decode(payload)
        if not isinstance(message, HEARD) or heard_on != topic(message.chamber, type(message)):
            raise WireError(f"A message of another topic came on {heard_on}.", "Check its sender.")
        if isinstance(message, Reply):
            if not retained and self._store.answer_order(message):
                self._hub.stir(message.chamber)
            return
        heard_utc_s = self._now_utc_s()
        self._hub.heard(message, heard_utc_s, retained)
        if isinstance(message, Presence):
            self._store.add_presence(message)
            if message.state == PresenceState.PRESENT:
                self._say_all_stored(message)
            return
        is_new = self._store.add((message,), heard_utc_s) > 0
        if (is_new and isinstance(message, Event)) or self._store.pending() >= LOAD_LINES:
            self._due.set()

    # The commit's thread.

    def _commit_on(self) -> None:
        while not self._stopping.is_set():
            self._due.wait(self._commit_s)
            self._due.clear()
            self._commit()
        self._commit()

    def _commit(self) -> None:
        try:
            for stored in self._store.commit():
                self._say(stored)
            self._disk_trouble = None
        except BarmkeepError as error:
            trouble = f"{error.what} {error.remedy}"
            if trouble != self._disk_trouble:
                _log.error("%s", trouble)
            self._disk_trouble = trouble
            self._stopping.wait(RESTART_S)
        except Exception:
            _log.exception("A commit failed; the lines wait for the next one.")
            self._stopping.wait(RESTART_S)

    def _say_all_stored(self, presence: Presence) -> None:
        """How far each of the chamber's newest boots is committed, the one that spoke last."""
        boots = [boot for boot in self._store.boots(presence.chamber) if boot != presence.boot]
        for boot in (*reversed(boots), presence.boot):
            through = self._store.through(presence.chamber, boot)
            self._say(Stored(presence.chamber, boot, through))

    def _say(self, stored: Stored) -> None:
        if not self._client.is_connected():
            return  # It is said again when the controller next says that it is present.
        name = topic(stored.chamber, Stored)
        said = self._client.publish(name, encode(stored), qos=rule_of(Stored).qos)
        if said.rc not in (MQTTErrorCode.MQTT_ERR_SUCCESS, MQTTErrorCode.MQTT_ERR_NO_CONN):
            _log.warning("Could not say %s: %s", name, mqtt.error_string(said.rc))
