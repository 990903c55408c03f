"""A journal and its courier on a clock the test moves, and a reader that stores."""

from controller import wire
from controller.decision.vocabulary import Moment
from controller.edge.courier import BrokerSettings, Courier
from controller.edge.journal import Journal, JournalSettings
from tests.broker import wait_for
from tests.controller.edge.lines import CHAMBER, event, tick

TICK, EVENT, PRESENCE, STORED = (
    f"barmkeep/{CHAMBER}/{name}" for name in ("tick", "event", "presence", "stored")
)


class Store:
    """A reader that keeps every line once and says how far each boot is without a gap."""

    def __init__(self, broker):
        self.lines, self.got, self.conflicts, self._seen = {}, 0, 0, 0
        self._ear = broker.ear(TICK, EVENT)

    def through(self, boot):
        seq = 0
        while (boot, seq + 1) in self.lines:
            seq += 1
        return seq

    def commit(self, say=True):
        """Take in what has come since; say `stored` for each boot it touched."""
        new, self._seen = self._ear.heard[self._seen :], len(self._ear.heard)
        boots = set()
        for _, payload, _ in new:
            line = wire.decode(payload)
            first = self.lines.setdefault((line.boot, line.seq), line)
            self.conflicts += first != line
            boots.add(line.boot)
            self.got += 1
        for boot in sorted(boots) if say else ():
            self.say(boot, self.through(boot))

    def say(self, boot, through):
        message = wire.encode(wire.Stored(CHAMBER, boot, through))
        self._ear.client.publish(STORED, message, qos=1)


class Chamber:
    """A journal and its courier, on a clock that the test moves."""

    def __init__(self, folder, broker):
        self.mono_s = 1000.0
        self.journal = Journal.open(folder, JournalSettings(), self.now())
        settings = BrokerSettings(host=broker.host, port=broker.port)
        self.courier = Courier(settings, self.journal, self.presence)

    def now(self):
        return Moment(self.mono_s, 1.8e9 + self.mono_s)

    def presence(self, state):
        return wire.Presence(
            CHAMBER, self.journal.boot, state.value, self.now().utc_s, "0.1.0", 10.0
        )

    def turn(self, count=1, line=tick):
        for _ in range(count):
            self.mono_s += 10.0
            lines = [line(self.journal.boot, self.journal.next_seq, self.now())]
            self.journal.append(lines, self.now(), urgent=line is event)
            self.pump()

    def pump(self):
        self.courier.pump(self.now())

    def until(self, condition, within_s=20):
        """Pump as the loop does while it rests."""

        def pumped():
            self.pump()
            return condition()

        return wait_for(pumped, within_s)

    def connected(self):
        self.until(lambda: self.courier.trouble is None)
        return self

    def close(self):
        self.courier.close(self.now())
        self.journal.close(self.now())


def all_stored(chamber, store):
    def condition():
        store.commit()
        return store.through(chamber.journal.boot) == chamber.journal.next_seq - 1

    return condition
