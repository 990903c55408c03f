"""Answer: the orders that wait, obeyed one after another at the start of a turn.

Each becomes a state, a reply and what is to be written down. What an order begins or ends must be
on the disk before it counts, or a restart would forget it; when that fails the order is refused.
The replies are told only after the turn has been written down. Decides about no order itself.
"""

from __future__ import annotations

from typing import Protocol

from controller.decision.decide import Plan, State
from controller.decision.orders import Answer, obey, refused
from controller.decision.profile import Begun
from controller.decision.vocabulary import Moment, Transition
from controller.edge.orders import Received
from controller.wire import Reply

PER_TURN = 4  # Why: what is left waits for the next turn, at most a few seconds later.
_UNKEPT = Answer(
    False,
    "The disk cannot be written, so this would be forgotten at the next restart; make room on it, "
    "then give the order again.",
)


class Orders(Protocol):
    """Whatever takes orders in and remembers their answers."""

    @property
    def is_waiting(self) -> bool:
        """Whether an order waits."""
        ...

    def take(self, limit: int) -> list[Received]:
        """The next orders."""
        ...

    def flood(self) -> int:
        """How many were not looked at since this was last asked."""
        ...

    def keep(self, begun: Begun | None, reply: Reply, issued_utc_s: float) -> bool:
        """Whether what stands after an order, and its answer, are on the disk."""
        ...


def answered(
    plan: Plan, state: State, inbox: Orders | None, chamber: str, now: Moment
) -> tuple[State, tuple[Reply, ...], tuple[Transition, ...]]:
    """The state after the orders that waited, their replies, and what to write down."""
    replies: list[Reply] = []
    news: list[Transition] = []
    if inbox is None:
        return state, (), ()
    for received in inbox.take(PER_TURN):
        if received.repeat is not None:
            replies.append(received.repeat)
            continue
        order = received.order
        if received.asked is not None:
            after, answer, told = obey(plan, state, received.asked, now)
        else:
            after, answer = state, Answer(False, received.refusal or "")
            told = refused(order.id, order.issuer, order.kind, answer, now)
        reply = _reply(chamber, order.id, answer, now)
        if not inbox.keep(after.begun, reply, order.utc_s) and after.begun != state.begun:
            after, reply = state, _reply(chamber, order.id, _UNKEPT, now)
            told = refused(order.id, order.issuer, order.kind, _UNKEPT, now)
            inbox.keep(state.begun, reply, order.utc_s)
        state = after
        replies.append(reply)
        news.extend(told)
    if count := inbox.flood():
        text = f"{count} orders were not looked at: too many came at once."
        news.append(Transition("order", "refused", now.mono_s, text))
    return state, tuple(replies), tuple(news)


def _reply(chamber: str, order_id: str, answer: Answer, now: Moment) -> Reply:
    return Reply(chamber, order_id, answer.taken, answer.reason, now.utc_s)
