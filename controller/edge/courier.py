"""Carrying the journal to the broker: in order, again until stored, never in the way of the loop.

A line counts as delivered only when the dashboard has said `stored`, because a broker's own
acknowledgement means "the broker has it". At most WINDOW lines are on the way; what is not stored
after a while, or after any new connection, is sent again from the first that is not. The reader
drops duplicates by (chamber, boot, seq). The newest tick is always published, retained, however
far behind the rest is, so that a fresh page shows something.

The network's thread only puts what it hears into short queues: orders into the inbox, everything
else into one of its own, on which `pump` decides in the loop's thread. Nothing here decides what is
worth telling, or what becomes of an order.
"""

from __future__ import annotations

import logging
import threading
from collections import deque
from collections.abc import Callable
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import MQTTErrorCode
from paho.mqtt.reasoncodes import ReasonCode

from controller import wire
from controller.decision.vocabulary import Moment
from controller.edge.broker import BrokerSettings, client_of
from controller.edge.journal import Entry, Journal, Outbox
from controller.edge.orders import Inbox
from controller.errors import WireError
from controller.wire import Event, Order, Presence, PresenceState, Reply, Stored, Tick

__all__ = ["BrokerSettings", "Courier"]

# Why: more than the 500 lines at which the dashboard commits at once, so that catching up never
# waits for its clock; less than the 1000 a broker queues for a slow reader by default.
WINDOW = 700
ACK_WAIT_S = 90.0  # Why: the dashboard commits ticks once a minute.
ACK_WAIT_S_MAX = 900.0  # Why: with no dashboard anywhere a window four times an hour is enough.
KEEP_ALIVE_S = 30  # Why: the broker says `lost` for us within 45 s.
RESTART_S = 60.0  # Why: a network thread that died is a bug; it must not become a busy loop.
CLOSE_S = 2.0  # Why: stopping must stay well within systemd's patience.
REPLIES_MAX = 50  # Why: a reply is waited for for seconds; more have nobody who waits.
HEARD_MAX = 200  # Why: `stored` is said again; a flood must not fill the memory.

_log = logging.getLogger(__name__)


class Courier:
    """Tells one broker what one journal holds. `pump` never blocks and never raises.

    Args:
        settings: the broker.
        journal: the journal to carry; acknowledgements are kept beside it.
        presence_of: makes the Presence of a state, dated now. Also called by the network's thread.
        inbox: takes the orders that come; None: nobody listens for any.

    Raises:
        BrokerError: the password or the certificate cannot be read.
    """

    def __init__(
        self,
        settings: BrokerSettings,
        journal: Journal,
        presence_of: Callable[[PresenceState], Presence],
        inbox: Inbox | None = None,
    ) -> None:
        self._settings = settings
        self._journal = journal
        self._presence_of = presence_of
        self._inbox = inbox
        self._replies: deque[Reply] = deque(maxlen=REPLIES_MAX)
        self._chamber = presence_of(PresenceState.PRESENT).chamber
        self._client_id = f"barmkeep-{self._chamber}"
        self._outbox = Outbox(journal)
        self._on_the_way: deque[tuple[str, int]] = deque()
        self._heard: deque[tuple[str, bytes]] = deque(maxlen=HEARD_MAX)
        self._is_up = False
        self._session = 0
        self._session_seen = 0
        self._refusal: str | None = None
        self._told_tick_seq = 0
        self._progress_mono_s = 0.0
        self._ack_wait_s = ACK_WAIT_S
        self._started_mono_s = float("-inf")
        self.junk = 0
        self._client = self._built()

    @property
    def trouble(self) -> str | None:
        """Why lines are not going out now, in words; None when they are."""
        if self._refusal is not None:
            return self._refusal
        where = f"{self._settings.host}:{self._settings.port_used}"
        return None if self._is_up else f"The broker {where} does not answer."

    def pump(self, now: Moment) -> None:
        """Take in what was heard and send what may be sent.

        1. Start the network's thread, or start it again should it have died. 2. Hear `stored`.
        3. After a new connection, or too long without progress, begin again at the first line not
        stored. 4. Send the next lines while the window has room. 5. Send the newest tick.
        """
        try:
            self._keep_running(now)
            self._hear(now)
            self._outbox.save(now)
            if not self._is_up:
                return
            self._send_replies()
            self._begin_again_if_due(now)
            self._send_next(now)
            self._send_newest()
        except Exception:  # Why: telling must never end controlling; the next turn tries again.
            _log.exception("The courier stumbled.")

    def say(self, reply: Reply) -> None:
        """Answer an order with the next `pump`. Without a broker the newest few wait for one."""
        self._replies.append(reply)

    def close(self, now: Moment) -> None:
        """Say `stopped`, give it a bounded time to go out, and disconnect. Never raises."""
        try:
            self._hear(now)
            self._outbox.save(now, urgent=True)
            if self._is_up:
                said = self._publish_presence(PresenceState.STOPPED)
                said.wait_for_publish(CLOSE_S)
            self._client.disconnect()
        except Exception as error:
            _log.warning("The broker was not told of the stop: %s", error)
        ending = threading.Thread(target=self._client.loop_stop, daemon=True)
        ending.start()
        ending.join(CLOSE_S)

    # The loop's thread.

    def _keep_running(self, now: Moment) -> None:
        if now.mono_s - self._started_mono_s < RESTART_S:
            return
        thread_name = f"paho-mqtt-client-{self._client_id}"
        if any(thread.name == thread_name for thread in threading.enumerate()):
            return
        self._started_mono_s = now.mono_s
        self._client.loop_stop()
        self._client.connect_async(self._settings.host, self._settings.port_used, KEEP_ALIVE_S)
        self._client.loop_start()

    def _hear(self, now: Moment) -> None:
        goes_back = False
        while self._heard:
            try:
                goes_back |= self._take_in(*self._heard.popleft(), now)
            except WireError as error:
                self.junk += 1
                if self.junk & (self.junk - 1) == 0:  # The 1st, 2nd, 4th, 8th… is told.
                    _log.warning("Refused %d messages so far; the newest: %s", self.junk, error)
        if goes_back:
            self._begin_again(now)

    def _take_in(self, heard_on: str, payload: bytes, now: Moment) -> bool:
        """Note one `stored`; whether it lies behind what we believed, as of a restored store."""
        stored = wire.decode(payload)
        if not isinstance(stored, Stored) or heard_on != wire.topic(self._chamber, Stored):
            raise WireError("It is no `stored` on its topic.", "Check its sender.")
        is_ours = stored.boot == self._journal.boot
        if stored.chamber != self._chamber or (
            is_ours and stored.through >= self._journal.next_seq
        ):
            raise WireError(f"We never said what {stored} claims.", "Check its sender.")
        if not self._outbox.is_known(stored.boot):
            return False
        before = self._outbox.delivered(stored.boot)
        self._outbox.acknowledge(stored.boot, stored.through)
        self._on_the_way = deque(
            (boot, seq) for boot, seq in self._on_the_way if seq > self._outbox.delivered(boot)
        )
        self._ack_wait_s = ACK_WAIT_S
        if stored.through > before:
            self._progress_mono_s = now.mono_s
        return stored.through < before

    def _begin_again_if_due(self, now: Moment) -> None:
        if self._session != self._session_seen:
            self._session_seen = self._session
            self._told_tick_seq = 0
            self._ack_wait_s = ACK_WAIT_S
            self._begin_again(now)
        elif self._on_the_way and now.mono_s - self._progress_mono_s >= self._ack_wait_s:
            self._ack_wait_s = min(2 * self._ack_wait_s, ACK_WAIT_S_MAX)
            self._begin_again(now)
            self._publish_presence(PresenceState.PRESENT)  # A reader answers with `stored`.

    def _begin_again(self, now: Moment) -> None:
        self._outbox.rewind()
        self._on_the_way.clear()
        self._progress_mono_s = now.mono_s

    def _send_next(self, now: Moment) -> None:
        room = WINDOW - len(self._on_the_way)
        if not self._on_the_way:
            self._progress_mono_s = now.mono_s
        for entry in self._outbox.take(room):
            if not self._publish(entry):
                self._begin_again(now)
                return
            self._on_the_way.append((entry.boot, entry.seq))

    def _send_newest(self) -> None:
        """The newest tick, out of its turn, when its turn has not come."""
        newest_seq = self._journal.newest_tick_seq
        if newest_seq <= self._told_tick_seq:
            return
        entry = self._journal.in_memory(newest_seq)
        if entry is not None:
            self._publish(entry)

    def _send_replies(self) -> None:
        rule, name = wire.rule_of(Reply), wire.topic(self._chamber, Reply)
        while self._replies:
            said = self._client.publish(name, wire.encode(self._replies[0]), qos=rule.qos)
            if said.rc not in (MQTTErrorCode.MQTT_ERR_SUCCESS, MQTTErrorCode.MQTT_ERR_NO_CONN):
                return  # The network's queue is full; the next turn tries again.
            self._replies.popleft()

    def _publish(self, entry: Entry) -> bool:
        """Hand one line to the network; False when its queue is full. Offline it is queued."""
        is_newest = entry.boot == self._journal.boot and entry.seq == self._journal.newest_tick_seq
        rule = wire.rule_of(Tick if entry.is_tick else Event)
        name = wire.topic(self._chamber, rule.message)
        retained = rule.retained and is_newest
        said = self._client.publish(name, entry.text, qos=rule.qos, retain=retained)
        taken = said.rc in (MQTTErrorCode.MQTT_ERR_SUCCESS, MQTTErrorCode.MQTT_ERR_NO_CONN)
        if taken and is_newest:
            self._told_tick_seq = entry.seq
        return taken

    def _publish_presence(self, state: PresenceState) -> mqtt.MQTTMessageInfo:
        rule = wire.rule_of(Presence)
        text = wire.encode(self._presence_of(state))
        name = wire.topic(self._chamber, Presence)
        return self._client.publish(name, text, qos=rule.qos, retain=rule.retained)

    def _built(self) -> mqtt.Client:
        client = client_of(self._settings, self._client_id, WINDOW)
        rule = wire.rule_of(Presence)
        client.will_set(
            wire.topic(self._chamber, Presence),
            wire.encode(self._presence_of(PresenceState.LOST)),
            qos=rule.qos,
            retain=rule.retained,
        )
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        return client

    # The network's thread.

    def _on_connect(
        self, client: mqtt.Client, _mine: Any, _flags: Any, reason: ReasonCode, _properties: Any
    ) -> None:
        if reason.is_failure:
            self._refusal = f"The broker refused us: {reason}."
            return
        heard = (Stored,) if self._inbox is None else (Stored, Order)
        client.subscribe(
            [(wire.topic(self._chamber, each), wire.rule_of(each).qos) for each in heard]
        )
        self._publish_presence(PresenceState.PRESENT)
        self._session += 1
        self._is_up = True

    def _on_subscribe(
        self, _client: mqtt.Client, _mine: Any, _mid: int, reasons: list[ReasonCode], _p: Any
    ) -> None:
        refused = any(reason.is_failure for reason in reasons)
        self._refusal = "The broker lets us hear nothing." if refused else None

    def _on_disconnect(
        self, _client: mqtt.Client, _mine: Any, _flags: Any, reason: ReasonCode, _properties: Any
    ) -> None:
        self._is_up = False
        _log.info("The broker is gone: %s", reason)

    def _on_message(self, _client: mqtt.Client, _mine: Any, message: mqtt.MQTTMessage) -> None:
        if self._inbox is not None and message.topic == wire.topic(self._chamber, Order):
            self._inbox.hear(bytes(message.payload), message.retain)
        else:
            self._heard.append((message.topic, bytes(message.payload)))
