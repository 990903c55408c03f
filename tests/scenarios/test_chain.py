"""The whole chain: the controller as its own process, a real Mosquitto, the real store.

The broker is stopped for simulated minutes and started again; every line of the journal must then
be in the store exactly once, with what it said.
"""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from pathlib import Path

from controller import wire
from dashboard.ingest import Ingest
from dashboard.live import LiveHub
from dashboard.settings import BrokerSettings
from dashboard.store import Store
from tests.broker import Mosquitto, wait_for
from tests.scenarios.garage import SETTINGS, lines_in

ROOT = Path(__file__).parents[2]
PACE = 300.0  # A tick of ten seconds takes a thirtieth of one.
AWAY_S = 600.0 / PACE


def controller(folder: Path, port: int) -> subprocess.Popen[bytes]:
    settings = folder / "chamber.toml"
    settings.write_text(
        SETTINGS.format(target_c=35.0) + f'[broker]\nhost = "127.0.0.1"\nport = {port}\n'
    )
    words = ["simulate", "--settings", str(settings), "--days", "0.2", "--then-live"]
    words += ["--pace", str(PACE), "--journal", str(folder / "journal")]
    return subprocess.Popen([sys.executable, "-m", "controller", *words], cwd=ROOT)


def test_a_broker_away_for_ten_minutes_loses_and_doubles_nothing(
    tmp_path: Path, mosquitto: Mosquitto
) -> None:
    store, hub = Store.open(tmp_path / "store.sqlite"), LiveHub()
    ingest = Ingest(BrokerSettings(port=mosquitto.port), store, hub, time.time, 1.0)
    ingest.start()
    process = controller(tmp_path, mosquitto.port)
    try:
        wait_for(lambda: len(store.ticks("test", 0, 9e9)) > 1800, 60)
        mosquitto.stop()
        before = sum(1 for _ in lines_in(tmp_path / "journal"))
        time.sleep(AWAY_S)
        assert sum(1 for _ in lines_in(tmp_path / "journal")) > before + 30
        mosquitto.start()
        process.send_signal(signal.SIGTERM)
        assert process.wait(60) == 0
        said = list(lines_in(tmp_path / "journal"))
        boot = said[0].boot
        if store.through("test", boot) < len(said):
            # Why: it was told to stop before the broker was back; a restart sends what is left.
            process = controller(tmp_path, mosquitto.port)
            wait_for(lambda: store.through("test", boot) == len(said), 60)
    finally:
        process.kill()
        process.wait()
        ingest.stop()
    stored = [tick for tick in store.ticks("test", 0, 9e9) if tick.boot == boot]
    ticks = [line for line in said if isinstance(line, wire.Tick)]
    assert [tick.seq for tick in stored] == [tick.seq for tick in ticks]
    # Why: the store keeps thousandths.
    differences = [abs((a.beer_c or 0) - (b.beer_c or 0)) for a, b in zip(stored, ticks)]  # noqa: B905
    assert max(differences) < 0.00051
    assert store.missing("test", boot) == ()
    store.close()
