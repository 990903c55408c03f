"""A teller of its own process, to be killed: raises alarms one after another and tells them.

Usage: python -m tests.dashboard.notify.interrupted STORE ADDRESS COUNT
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

from controller.wire import Event
from dashboard.live import LiveHub
from dashboard.notify import decision, teller
from dashboard.notify.choices import NotifySettings, Target
from dashboard.notify.teller import Surroundings, Teller
from dashboard.store import Store


def main(path: Path, address: str, count: int) -> None:
    teller.LOOK_S = teller.RETRY_S_MIN = 0.01
    decision.FLOOD_MESSAGES = 10_000  # So that every alarm is a message and a chance to be killed.
    teller.MERGED_ABOVE = 10_000
    store = Store.open(path)
    settings = NotifySettings(quiet_from="00:00", quiet_to="00:00")
    told = Teller(settings, [Target("phone", address)], Surroundings(store, LiveHub(), time.time))
    told.start()
    for number in range(store.through("left", "b1") + 1, count + 1):
        now = time.time()
        text = f"Number {number}."
        event = Event(
            "left", "b1", number, now, now, True, f"a-{number}", "raised", text, priority="high"
        )
        store.add([event], now)
        store.commit()
        time.sleep(0.02)
    while True:
        time.sleep(1)


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]))
