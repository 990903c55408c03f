"""Nothing lost, whoever is killed when: controller, broker and reader.

Nor does one (boot, seq) ever carry two different lines, which is what lets a reader drop doubles.

Real processes under SIGKILL, as in the measurement behind the rule that only `stored` counts: a
controller that forgets a line at the broker's own confirmation loses some here.
"""

import os
import random
import subprocess
import sys
import threading
import time

import pytest

from tests.broker import wait_for
from tests.controller.edge.chamber import Store

CONTROLLER = """
import sys, time
from pathlib import Path
from tests.controller.edge.chamber import Chamber
class Broker: host, port = "127.0.0.1", int(sys.argv[2])
chamber = Chamber(Path(sys.argv[1]), Broker)
while True:
    chamber.turn()
    print(chamber.journal.boot, chamber.journal.next_seq - 1, flush=True)
    time.sleep(0.01)
"""


class Controller:
    """A controller in a process of its own, restarted after every kill as its unit would."""

    def __init__(self, folder, port):
        self._command = [sys.executable, "-c", CONTROLLER, str(folder), str(port)]
        self.written = {}
        self.start()

    def start(self):
        environment = os.environ | {"PYTHONPATH": os.pathsep.join(["", *sys.path])}
        self._process = subprocess.Popen(self._command, stdout=subprocess.PIPE, env=environment)
        self._listener = threading.Thread(target=self._listen, args=[self._process.stdout])
        self._listener.start()

    def _listen(self, lines):
        for line in lines:
            if line.endswith(b"\n"):
                boot, seq = line.split()
                self.written[boot.decode()] = int(seq)

    def kill(self):
        self._process.kill()
        self._process.wait()
        self._listener.join()
        self._process.stdout.close()


def storm(folder, mosquitto, kills, seed):
    """Kill one of the three again and again; returns what was written and what is stored."""
    chance, store = random.Random(seed), Store(mosquitto)
    controller = Controller(folder, mosquitto.port)
    for _ in range(kills):
        until_s = time.monotonic() + chance.uniform(0.1, 1.2)
        while time.monotonic() < until_s:
            time.sleep(0.05)
            store.commit()
        victim = chance.choice(("controller", "controller", "broker", "reader"))
        if victim == "controller":
            controller.kill()
            controller.start()
        elif victim == "broker":
            mosquitto.stop(hard=True)
            mosquitto.start()
        else:
            store._seen = len(store._ear.heard)  # What it had not committed is gone.

    def all_is_stored():
        store.commit()
        written = dict(controller.written)
        return all(store.through(boot) >= seq - 100 for boot, seq in written.items()) and all(
            store.through(boot) >= seq for boot, seq in sorted(written.items())[:-1]
        )

    wait_for(all_is_stored, 60)
    controller.kill()
    last_boot = max(controller.written)
    return controller.written, store, last_boot


def judge(folder, mosquitto, kills, seed):
    written, store, last_boot = storm(folder, mosquitto, kills, seed)
    lost = sum(
        max(0, seq - store.through(boot)) for boot, seq in written.items() if boot != last_boot
    )
    return {
        "written": sum(written.values()),
        "boots": len(written),
        "lost": lost,
        "conflicting": store.conflicts,
        "received": store.got,
    }


def test_eight_random_kills_lose_nothing_and_mix_up_nothing(tmp_path, mosquitto):
    said = judge(tmp_path, mosquitto, kills=8, seed=7)
    assert said["written"] > 100 and said["boots"] > 2
    assert (said["lost"], said["conflicting"]) == (0, 0)


@pytest.mark.bench
def test_a_hundred_random_kills_lose_nothing_and_mix_up_nothing(tmp_path, mosquitto, capsys):
    said = judge(tmp_path, mosquitto, kills=100, seed=1)
    with capsys.disabled():
        print(f"\n100 kills: {said}; target 0 lost, 0 conflicting")
    assert (said["lost"], said["conflicting"]) == (0, 0)
