"""Finds transitions: in a controller's events, in its silence, and in the dashboard's own trouble.

Pure. Silence and trouble are computed here, each dated by when it became true and not by when
somebody looked, so that looking later, or twice, finds the same transition. While the dashboard
itself hears nothing, silence says nothing about a controller and is not told.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from controller.wire import Event, EventState, PresenceState, Tick
from dashboard.notify.news import PRIORITIES, News, State, Transition
from dashboard.sheet.seen import Seen

OWN = "dashboard/trouble"
SILENCE = "silence"
_EVENT = "event/"
RESTED_S = 60.0  # Why: a tick and an event of the same turn may be dated a little apart.

_STATES: Mapping[str, State] = {
    EventState.RAISED: State.RAISED,
    EventState.TRIPPED: State.RAISED,
    EventState.CLEARED: State.CLEARED,
    EventState.RELEASED: State.CLEARED,
    EventState.ACKNOWLEDGED: State.QUIETED,
    EventState.SHELVED: State.QUIETED,
    EventState.SUPPRESSED: State.QUIETED,
}
# Why: it only repeats that something has tripped, and every trip is told by its own name.
_SAID_ELSEWHERE = frozenset({"tripped"})


@dataclass(frozen=True, slots=True)
class Ear:
    """What the dashboard knows of its own hearing.

    Args:
        since_utc_s: since when it has been listening.
        trouble: what keeps it from hearing or keeping anything now; None: nothing.
        trouble_utc_s: since when that is so.
        patience_s: how long a controller, or the broker, may be away before it is told.
    """

    since_utc_s: float
    trouble: str | None = None
    trouble_utc_s: float = 0.0
    patience_s: float = 600.0


def thing_of(chamber: str, code: str) -> str:
    """What an alarm of a chamber is called here."""
    return f"{chamber}/{code}"


def of_event(event: Event) -> Transition | None:
    """The transition an event stands for; None for an event that nobody has to act on."""
    state = _STATES.get(event.state)
    if state is None or event.code in _SAID_ELSEWHERE:
        return None
    usual = PRIORITIES[0] if event.state == EventState.TRIPPED else PRIORITIES[1]
    return Transition(
        origin=f"{_EVENT}{event.chamber}/{event.boot}/{event.seq}",
        thing=thing_of(event.chamber, event.code),
        state=state,
        true_utc_s=event.utc_s,
        priority=event.priority if event.priority in PRIORITIES else usual,
        text=event.text,
        remedy=event.remedy or "",
        chamber=event.chamber,
    )


def of_silence(chambers: Iterable[Seen], is_open: frozenset[str], ear: Ear) -> Iterator[Transition]:
    """Controllers that have gone silent or were stopped, and those that are heard again.

    `is_open` are the things whose newest transition is a raise.
    """
    if ear.trouble is not None:
        return
    for seen in chambers:
        thing = thing_of(seen.chamber, SILENCE)
        true_utc_s = _silent_from(seen, ear)
        if true_utc_s is not None and seen.clock_utc_s >= true_utc_s:
            if thing not in is_open:
                yield _silent(seen, thing, true_utc_s)
        elif thing in is_open and seen.is_live:
            heard_utc_s = seen.heard_utc_s or seen.clock_utc_s
            yield Transition(
                f"{thing}/heard/{heard_utc_s:.0f}",
                thing,
                State.CLEARED,
                heard_utc_s,
                PRIORITIES[0],
                "The controller is heard again.",
                chamber=seen.chamber,
            )


def _silent_from(seen: Seen, ear: Ear) -> float | None:
    """When this chamber's silence becomes worth telling; None: it is heard, or is not in use."""
    tick = seen.tick
    if seen.is_live or tick is None or (seen.batch is None and tick.target_c is None):
        return None
    heard_utc_s = ear.since_utc_s if seen.heard_utc_s is None else seen.heard_utc_s
    # A dashboard that was away itself cannot know who was silent meanwhile.
    return max(heard_utc_s, ear.since_utc_s) + ear.patience_s


def _silent(seen: Seen, thing: str, true_utc_s: float) -> Transition:
    if seen.is_stopped:
        text = "The controller was stopped, so this chamber is neither heated nor cooled."
        remedy = "Start it again on its machine, or look after the beer by hand."
    else:
        lost = seen.presence is not None and seen.presence.state == PresenceState.LOST
        text = "The controller has gone silent. What the pad is doing now is not known."
        if lost:
            text = "The broker has lost the controller. What the pad is doing now is not known."
        remedy = (
            "Look at the machine: its power, its network, the broker. Feel the pad; if it is "
            "hot, unplug it."
        )
    return Transition(
        f"{thing}/{true_utc_s:.0f}",
        thing,
        State.RAISED,
        true_utc_s,
        PRIORITIES[0],
        text,
        remedy,
        seen.chamber,
    )


def of_own_trouble(ear: Ear, is_open: frozenset[str], now_utc_s: float) -> Iterator[Transition]:
    """The dashboard's own trouble, once it has lasted, and its end."""
    if ear.trouble is None:
        if OWN in is_open:
            text = "The dashboard hears and keeps everything again."
            origin = f"{OWN}/over/{now_utc_s:.0f}"
            yield Transition(origin, OWN, State.CLEARED, now_utc_s, PRIORITIES[0], text)
        return
    true_utc_s = ear.trouble_utc_s + ear.patience_s
    if now_utc_s >= true_utc_s and OWN not in is_open:
        yield Transition(
            f"{OWN}/{true_utc_s:.0f}",
            OWN,
            State.RAISED,
            true_utc_s,
            PRIORITIES[0],
            f"The dashboard hears nothing new: {ear.trouble}",
            "Until that is mended no alarm of any chamber reaches you. The controllers go on.",
        )


def of_forgotten(is_open: Mapping[str, Transition], ticks: Iterable[Tick]) -> Iterator[Transition]:
    """Alarms that ended without a word, because the controller restarted meanwhile."""
    newest = {tick.chamber: tick for tick in ticks}
    for thing, raised in is_open.items():
        tick = newest.get(raised.chamber or "")
        if tick is None or not raised.origin.startswith(_EVENT):
            continue
        if tick.utc_s > raised.true_utc_s + RESTED_S and thing not in told_by((tick,)):
            text = "It is over; the controller was restarted meanwhile."
            yield Transition(
                f"{raised.origin}/over",
                thing,
                State.CLEARED,
                tick.utc_s,
                raised.priority,
                text,
                chamber=raised.chamber,
            )


def still(waiting: Iterable[News], ticks: Iterable[Tick]) -> frozenset[str]:
    """Of what waits, the things that stand as far as anybody knows: those the newest tick says, or
    is too old to know of, and everything that no controller tells.
    """
    newest = {tick.chamber: tick for tick in ticks}
    found = set()
    for transition in (each.transition for each in waiting):
        tick = newest.get(transition.chamber or "")
        is_unknown = tick is None or tick.utc_s <= transition.true_utc_s
        if is_unknown or not transition.origin.startswith(_EVENT):
            found.add(transition.thing)
    return frozenset(found) | told_by(newest.values())


def told_by(ticks: Iterable[Tick]) -> frozenset[str]:
    """The things that these ticks say stand now, shelved and suppressed ones too."""
    return frozenset(
        thing_of(tick.chamber, code)
        for tick in ticks
        for code in (*tick.alarms, *tick.trips, *tick.alarm_states)
    )
