"""Orders from the broker: which of them are looked at, and which are refused at the door.

The network's thread drops them into a short queue; the loop takes them out, in order, a few at a
time. One that is retained, malformed, too long or for another chamber does nothing at all; one that
is expired, or does not fit the table, is answered as refused; one that was answered before is
answered the same again. What an order does is decided elsewhere; nothing here touches a relay.

While the clock is set an order's age is judged by it. While it is not, only by how long the order
has waited here, and by the orders before it: one that was issued earlier than another that was
already answered is refused, so that an old order kept by somebody cannot be played again, and so is
one that lies so far ahead that every later one would then seem old.
"""

from __future__ import annotations

import logging
import math
from collections import deque
from dataclasses import dataclass

from controller import beerjson, wire
from controller.decision.orders import Asked
from controller.decision.profile import Begun
from controller.decision.vocabulary import Moment
from controller.edge.clock import Clock
from controller.edge.standing import Standing
from controller.errors import BarmkeepError, WireError
from controller.order_kinds import ARGUMENT_NAMES, KIND_BY_NAME, TTL_S_MAX, misfit
from controller.wire import Order, Reply

WAITING_MAX = 20  # Why: a person presses a few buttons; more is a flood.
LOOKED_AT_MAX = (
    30  # Why: each answer costs the card a few writes; a person gives fewer in a minute.
)
RATE_S = 60.0  # Why: the minute in which so many are looked at.
AHEAD_S_MAX = 120.0  # Why: two clocks set from the network differ by less than a second.
AWAY_S_MAX = 366 * 86_400.0  # Why: a controller that was off for longer begins a new life.
NAME_MAX = 64  # Why: a UUID is 36 characters.
REASON_MAX = 500  # Why: a few lines on a phone.

_FUTURE = "It comes from the future; set the clock of the machine that sent it."
_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Received:
    """An order taken out of the queue. Exactly one of the last three is set.

    Args:
        order: as it came.
        asked: it may be obeyed.
        refusal: why it is refused at the door.
        repeat: its answer, given before.
    """

    order: Order
    asked: Asked | None = None
    refusal: str | None = None
    repeat: Reply | None = None


class Inbox:
    """The orders for one chamber.

    Args:
        chamber: its name.
        clock: the clock by which orders live and expire. Also asked by the network's thread.
        standing: what was answered before.
    """

    def __init__(self, chamber: str, clock: Clock, standing: Standing) -> None:
        self.standing = standing
        self.dropped = 0
        self.junk = 0
        self._chamber = chamber
        self._clock = clock
        self._waiting: deque[tuple[bytes, float]] = deque()
        self._looked_at_mono_s: deque[float] = deque()
        self._dropped_told = 0
        self._newest: tuple[float, float] | None = None  # utc_s of an order, mono_s when it came

    def hear(self, payload: bytes, retained: bool) -> None:
        """Put a message into the queue. For the network's thread; never blocks, never raises."""
        if retained or len(payload) > wire.LINE_BYTES_MAX:
            self._refuse_junk("it was retained" if retained else "it is too long")
        elif len(self._waiting) >= WAITING_MAX:
            self.dropped += 1
        else:
            self._waiting.append((payload, self._clock.now().mono_s))

    def take(self, limit: int) -> list[Received]:
        """The next orders, at most `limit`, in the order in which they came."""
        taken: list[Received] = []
        while self._waiting and len(taken) < limit:
            now = self._clock.now()
            payload, heard_mono_s = self._waiting.popleft()
            if not self._has_room(now):
                self.dropped += 1
                continue
            try:
                order = self._order_in(payload)
            except (WireError, UnicodeDecodeError) as error:
                self._refuse_junk(str(error))
            else:
                taken.append(self._received(order, heard_mono_s, now))
        return taken

    @property
    def is_waiting(self) -> bool:
        """Whether an order waits."""
        return bool(self._waiting)

    def keep(self, begun: Begun | None, reply: Reply, issued_utc_s: float) -> bool:
        """Whether what stands after an order, and its answer, are on the disk."""
        return self.standing.keep(begun, reply, issued_utc_s)

    def flood(self) -> int:
        """How many were not looked at since this was last asked."""
        count, self._dropped_told = self.dropped - self._dropped_told, self.dropped
        return count

    def _has_room(self, now: Moment) -> bool:
        """Whether another may be looked at within this minute."""
        looked = self._looked_at_mono_s
        while looked and now.mono_s - looked[0] >= RATE_S:
            looked.popleft()
        if len(looked) >= LOOKED_AT_MAX:
            return False
        looked.append(now.mono_s)
        return True

    def _order_in(self, payload: bytes) -> Order:
        order = wire.decode(payload)
        if not isinstance(order, Order) or order.chamber != self._chamber:
            raise WireError("It is no order for this chamber.", "Check its sender.")
        for name in (order.id, order.issuer):
            if not 1 <= len(name) <= NAME_MAX or not name.isprintable():
                raise WireError("Its id or issuer is no name.", "Check its sender.")
        return order

    def _received(self, order: Order, heard_mono_s: float, now: Moment) -> Received:
        known = self.standing.answers.get(order.id)
        if known is not None:
            return Received(order, repeat=known)
        given = {name: getattr(order, name) for name in ARGUMENT_NAMES}
        why = self._too_late(order, heard_mono_s, now) or misfit(order.kind, given)
        if why is not None:
            return Received(order, refusal=why)
        self._newest = (order.utc_s, now.mono_s)
        try:
            return Received(order, asked=_asked(order))
        except BarmkeepError as error:
            what = " ".join(error.what.split())[: REASON_MAX - len(error.remedy)]
            return Received(order, refusal=f"{what} {error.remedy}")

    def _too_late(self, order: Order, heard_mono_s: float, now: Moment) -> str | None:
        """Why an order's time is wrong, as a sentence; None: it is right."""
        if not 1.0 <= order.ttl_s <= TTL_S_MAX:
            return f"It wants to live for {order.ttl_s:g} s; give 1 to {TTL_S_MAX:g}."
        if now.mono_s - heard_mono_s > order.ttl_s:
            return "It waited too long for its turn; give it again."
        if not now.synced:
            return self._out_of_order(order, now)
        self.standing.trust_clock(now.utc_s)
        age_s = now.utc_s - order.utc_s
        if age_s > order.ttl_s:
            return f"It was {age_s:.0f} s old and has expired; give it again."
        if age_s < -AHEAD_S_MAX:
            return _FUTURE
        return None

    def _out_of_order(self, order: Order, now: Moment) -> str | None:
        """Why an order's time does not suit those before it; None: it does."""
        known_utc_s = self.standing.newest_utc_s
        if order.utc_s < known_utc_s - order.ttl_s:
            return (
                "It is older than one that was answered before, and the chamber's clock is not set "
                "to tell; set both machines' clocks, then give it again."
            )
        latest_utc_s = known_utc_s + AWAY_S_MAX if known_utc_s else math.inf
        if self._newest is not None:
            utc_s, mono_s = self._newest
            latest_utc_s = utc_s + now.mono_s - mono_s + AHEAD_S_MAX
        return _FUTURE if order.utc_s > latest_utc_s else None

    def _refuse_junk(self, why: str) -> None:
        self.junk += 1
        if self.junk & (self.junk - 1) == 0:  # The 1st, 2nd, 4th, 8th… is told.
            _log.warning("Ignored %d orders so far; the newest: %s", self.junk, why)


def _asked(order: Order) -> Asked:
    """The order as the decision knows it.

    Raises:
        SettingsError: its procedure is not right, or it holds several.
    """
    profile = None
    if order.procedure is not None:
        profiles = beerjson.parse(order.procedure, "The procedure")
        if len(profiles) != 1:
            raise WireError("The procedure is several.", "Send one alone.")
        profile = profiles[0]
    arguments = [(each, getattr(order, each.name)) for each in KIND_BY_NAME[order.kind].arguments]
    given = [(each, value) for each, value in arguments if value is not None]
    return Asked(
        order.id,
        order.issuer,
        order.kind,
        {each.name: value for each, value in given if not each.is_text},
        {each.name: value for each, value in given if each.is_text and each.name != "procedure"},
        profile,
    )
