"""Looks for news, has it decided, and sees every message to its target.

One thread looks: it collects transitions from every source, keeps them, asks `decide`, and keeps
what comes of it in one transaction. One thread for each target sends: what is due, oldest first,
with a growing rest after each failure. Nothing here decides what is told. A kill between sending
and noting it makes one message be sent again; it then says so, and a web target sees the same id.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from controller.errors import BarmkeepError
from dashboard.keeping.outbox import Delivery
from dashboard.live import LiveHub
from dashboard.notify import services, transitions, webhook, wording
from dashboard.notify.choices import NotifySettings, Target
from dashboard.notify.decision import decide
from dashboard.notify.news import Message, Source, Transition
from dashboard.notify.transitions import Ear
from dashboard.notify.webhook import SendError
from dashboard.sheet.seen import Seen
from dashboard.store import Store

LOOK_S = 5.0  # Why: an alarm has waited a minute or ten by then; a look costs a millisecond.
SOURCES_S = 60.0  # Why: a forecast takes a while to reckon, and nothing of it is urgent.
TIDY_S = 3600.0  # Why: what is old may be an hour older.
RETRY_S_MIN = 30.0  # Why: a router restarts within a minute.
RETRY_S_MAX = 900.0  # Why: a target that is back after a night hears within a quarter of an hour.
GIVE_UP_S = 7 * 86_400.0  # Why: an alarm a week old tells nothing that the page does not.
MERGED_ABOVE = 3  # Why: who was away wants one message, not a morning of them.
SHOWN_MAX = 30  # Why: the last deliveries of a few weeks.
REPEAT = "Perhaps sent before: the dashboard was interrupted while sending it. "

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What the teller looks at. `trouble` is the dashboard's own, in words; `clock` gives UTC."""

    store: Store
    hub: LiveHub
    clock: Callable[[], float]
    trouble: Callable[[], str | None] = lambda: None
    sources: tuple[Source, ...] = ()


class Teller:
    """Tells what is to be told, for as long as it runs."""

    def __init__(
        self, settings: NotifySettings, targets: Sequence[Target], around: Surroundings
    ) -> None:
        self.settings = settings
        self.targets = tuple(targets)
        self._around = around
        self._outbox = around.store.outbox
        self._ear = Ear(around.clock(), patience_s=settings.silent_after_s)
        self._looked_utc_s = around.clock()
        self._tidied_utc_s = float("-inf")
        self._asked_utc_s = float("-inf")
        self._shouted: str | None = None
        self.trials: dict[str, tuple[float, str]] = {}
        self._over = threading.Event()
        self._news = {target.name: threading.Event() for target in self.targets}
        self._threads = [threading.Thread(target=self._look_on, name="look", daemon=True)]
        self._threads += [
            threading.Thread(
                target=self._send_on, args=(target,), name=f"send-{target.name}", daemon=True
            )
            for target in self.targets
        ]

    def start(self) -> None:
        """Begin to look and to send."""
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        """Stop. What was not sent is sent after the next start."""
        self._over.set()
        for news in self._news.values():
            news.set()
        for thread in self._threads:
            thread.join(2 * webhook.TIMEOUT_S)

    @property
    def is_well(self) -> bool:
        """Whether the dashboard hears and keeps everything, and this teller looks."""
        is_looking = self._around.clock() - self._looked_utc_s < 12 * LOOK_S
        return self._around.trouble() is None and is_looking

    # Looking.

    def look(self) -> None:
        """Once: what happened, what is told of it.

        Raises:
            DiskError: the store cannot be used; nothing is lost, and the next look takes it up.
        """
        now = self._around.clock()
        self._listen(now)
        heard = self._outbox.unheeded()
        found = [each for _, event in heard if (each := transitions.of_event(event)) is not None]
        chambers = self._chambers(now)
        found += self._computed(chambers, now)
        if found or heard:
            self._outbox.notice(found, now, max((place for place, _ in heard), default=0))
        self._decide(chambers, now)
        if now - self._tidied_utc_s >= TIDY_S:
            names = [target.name for target in self.targets]
            self._outbox.tidy(names, now - GIVE_UP_S, now)
            self._tidied_utc_s = now
        self._looked_utc_s = now

    def _listen(self, now: float) -> None:
        trouble = self._around.trouble()
        if (trouble is None) != (self._ear.trouble is None):
            # After trouble everybody is given the time to be heard again.
            since = self._ear.since_utc_s if trouble else now
            self._ear = replace(self._ear, trouble_utc_s=now, since_utc_s=since)
        self._ear = replace(self._ear, trouble=trouble)

    def _chambers(self, now: float) -> list[Seen]:
        batch = self._around.store.current_batch
        return [
            Seen(live.chamber, now, live.tick, live.heard_utc_s, live.presence, batch(live.chamber))
            for live in self._around.hub.all_newest()
        ]

    def _computed(self, chambers: Sequence[Seen], now: float) -> list[Transition]:
        is_open = self._outbox.open()
        things = frozenset(is_open)
        ticks = [seen.tick for seen in chambers if seen.tick is not None and seen.is_live]
        return [
            *transitions.of_silence(chambers, things, self._ear),
            *transitions.of_own_trouble(self._ear, things, now),
            *transitions.of_forgotten(is_open, ticks),
            *self._from_sources(now),
        ]

    def _from_sources(self, now: float) -> list[Transition]:
        """What others have to tell. A slip in one of them keeps no alarm from being told."""
        if now - self._asked_utc_s < SOURCES_S:
            return []
        self._asked_utc_s = now
        found: list[Transition] = []
        for source in self._around.sources:
            try:
                found += source(now)
            except BarmkeepError:
                raise
            except Exception:
                _log.exception("A source of news failed; it is asked again.")
        return found

    def _decide(self, chambers: Sequence[Seen], now: float) -> None:
        waiting = self._outbox.waiting()
        if not waiting:
            return
        ticks = [seen.tick for seen in chambers if seen.tick is not None]
        past = self._outbox.past(now)
        stand = transitions.still(waiting, ticks)
        decision = decide(self.settings.rules, waiting, past, stand, now)
        if not decision.outcomes:
            return
        units, public = self.settings.units, self.settings.public_address
        messages = [
            (
                wording.composed(bundle, now, units, public),
                bundle.is_flood,
                [each.id for each in bundle.news],
            )
            for bundle in decision.bundles
        ]
        self._outbox.settle(decision.outcomes, messages, [each.name for each in self.targets])
        if messages:
            for news in self._news.values():
                news.set()

    def _look_on(self) -> None:
        while not self._over.wait(LOOK_S):
            try:
                self.look()
                self._shouted = None
            except BarmkeepError as error:
                self._shout(error)
            except Exception:  # A slip here must not end the telling.
                _log.exception("A look for news failed; it is tried again.")

    def _shout(self, error: BarmkeepError) -> None:
        """Tell that nothing can be kept, past the outbox, once for each trouble."""
        if self._shouted == error.what:
            return
        self._shouted = error.what
        now = self._around.clock()
        text = f"{error.what} {error.remedy} Until then no other message is sent."
        message = Message(0, now, "high", "The dashboard: now", text)
        for target in self.targets:
            try:
                _send(target, message, is_repeat=False)
            except SendError as refused:
                _log.warning("Could not tell %s: %s", target.name, refused)

    # Sending.

    def send(self, target: Target) -> None:
        """Everything that is due for this target, until one fails.

        Raises:
            DiskError: the store cannot be used.
        """
        while not self._over.is_set():
            due = self._outbox.due(target.name, self._around.clock())
            if not due:
                return
            batch = due if len(due) > MERGED_ABOVE else due[:1]
            self._outbox.begin(batch, self._around.clock())
            if not self._sent(target, batch):
                return

    def _sent(self, target: Target, batch: Sequence[Delivery]) -> bool:
        """Whether to go on with the next."""
        message = batch[0].message
        if len(batch) > 1:
            message = wording.merged([each.message for each in batch])
        try:
            _send(target, message, is_repeat=any(each.was_begun for each in batch))
        except SendError as error:
            now = self._around.clock()
            if error.is_permanent:
                self._outbox.refused(batch, now, str(error))
                return True
            rest_s = min(RETRY_S_MAX, RETRY_S_MIN * 2.0 ** min(batch[0].tries, 10))
            self._outbox.postpone(batch, now + rest_s, str(error))
            return False
        self._outbox.delivered(batch, self._around.clock())
        return True

    def _send_on(self, target: Target) -> None:
        news = self._news[target.name]
        while not self._over.is_set():
            try:
                self.send(target)
            except BarmkeepError as error:
                _log.error("Telling %s waits: %s", target.name, error)
            except Exception:  # A slip, or a library's, must not end the telling.
                _log.exception("Sending to %s failed; it is tried again.", target.name)
            news.wait(LOOK_S)
            news.clear()

    def try_out(self, name: str) -> None:
        """Send a trial to this target at once. `trials` then says when, and what went wrong."""
        now = self._around.clock()
        units, public = self.settings.units, self.settings.public_address
        (target,) = (each for each in self.targets if each.name == name)
        error = ""
        try:
            _send(target, wording.trial(now, name, units, public), is_repeat=False)
        except SendError as refused:
            error = str(refused)
        self.trials[name] = (now, error)

    def deliveries(self) -> tuple[Delivery, ...]:
        """The last deliveries, newest first."""
        return self._outbox.newest(SHOWN_MAX)


def _send(target: Target, message: Message, *, is_repeat: bool) -> None:
    if is_repeat:
        message = replace(message, text=REPEAT + message.text)
    if target.is_webhook:
        webhook.post(target.address, message, is_repeat=is_repeat)
    else:
        services.send(target.address, message)
