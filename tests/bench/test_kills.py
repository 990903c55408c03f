"""A hundred kills of broker and dashboard under a real journal and courier: 0 lost, 0 doubled.

Run with `-m bench -s`. The counts are asserted; it takes about three minutes.
"""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import threading
import time

import pytest

from dashboard.store import Store
from tests.broker import wait_for
from tests.controller.edge.chamber import Chamber
from tests.dashboard.test_ingest import CHILD, ROOT

pytestmark = pytest.mark.bench
KILLS = 100
SEED = 20_260_101


@pytest.fixture(autouse=True)
def only_when_asked(request):
    if "bench" not in request.config.option.markexpr:
        pytest.skip("a measurement; run with -m bench -s")


class RealChamber(Chamber):
    """A journal and its courier by the real clock."""

    def now(self):
        self.mono_s = time.monotonic()
        return super().now()

    def turn(self, count=1, **_):
        super().turn(count)
        time.sleep(0.005)


def test_a_hundred_kills_lose_nothing_and_double_nothing(mosquitto, tmp_path, monkeypatch):
    monkeypatch.setattr("controller.edge.courier.ACK_WAIT_S", 3.0)
    chance, path = random.Random(SEED), tmp_path / "store.db"
    command = [sys.executable, "-c", CHILD, str(mosquitto.port), str(path)]
    dashboards = [subprocess.Popen(command, cwd=ROOT)]
    over = threading.Event()

    def kill() -> None:
        for _ in range(KILLS):
            time.sleep(chance.uniform(0.2, 2.5))
            if chance.random() < 0.5:
                mosquitto.stop(hard=True)
                time.sleep(chance.uniform(0.0, 0.5))
                mosquitto.start()
            else:
                dashboards[-1].send_signal(signal.SIGKILL)
                dashboards[-1].wait()
                dashboards.append(subprocess.Popen(command, cwd=ROOT))
        over.set()

    chamber = RealChamber(tmp_path / "journal", mosquitto)
    killer = threading.Thread(target=kill)
    killer.start()
    while not over.is_set():
        chamber.turn()
    last = chamber.journal.next_seq - 1
    delivered = chamber.courier._outbox.delivered
    wait_for(lambda: chamber.pump() or delivered(chamber.journal.boot) == last, 120)
    dashboards[-1].kill()
    dashboards[-1].wait()
    chamber.close()
    store = Store.open(path)
    with store._database.reading() as connection:
        (kept, different, thinned) = connection.execute(
            "SELECT count(*), count(DISTINCT seq), (SELECT sum(ticks) FROM hours) FROM ticks"
        ).fetchone()
    print(f"\n{KILLS} kills, {last} lines: {last - different} lost, {kept - different} doubled")
    assert (kept, different, thinned) == (last, last, last)
    store.close()
