"""A dashboard that was away for a week: a real broker, a real store, and a week of ticks to send.

The controller has its broker all the time; only the dashboard is not there. When it comes it says
what it holds, which is nothing, and gets every line once, in order, with its own time, while the
newest is shown at once. Half a day in every run, the week with `-m bench -s`.
"""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from controller import wire
from dashboard.ingest import Ingest
from dashboard.live import LiveHub
from dashboard.settings import BrokerSettings
from dashboard.store import Store
from tests.broker import Mosquitto, wait_for
from tests.scenarios.garage import SETTINGS, lines_in

ROOT = Path(__file__).parents[2]
WEEK_DAYS = 7.0


def caught_up(folder: Path, mosquitto: Mosquitto, days: float, tick_s: int) -> dict[str, float]:
    """So many days without a dashboard, then one; counts what it holds."""
    settings = folder / "chamber.toml"
    text = SETTINGS.format(target_c=35.0).replace(
        'name = "test"', f'name = "test"\ntick_s = {tick_s}'
    )
    settings.write_text(text + f'[broker]\nhost = "127.0.0.1"\nport = {mosquitto.port}\n')
    words = ["simulate", "--settings", str(settings), "--days", str(days), "--then-live"]
    words += ["--pace", "20", "--journal", str(folder / "journal")]
    controller = subprocess.Popen([sys.executable, "-m", "controller", *words], cwd=ROOT)
    wanted = int(days * 86_400 / tick_s)
    store, hub = Store.open(folder / "store.sqlite"), LiveHub()
    ingest = Ingest(BrokerSettings(port=mosquitto.port), store, hub, time.time, 1.0)
    try:
        ear = mosquitto.ear("barmkeep/test/tick")
        wait_for(lambda: ear.heard, 300)  # They are over, and it speaks.
        began_s = time.monotonic()
        ingest.start()
        wait_for(lambda: any(each.last_tick for each in store.chambers()), 60)
        boot = next(lines_in(folder / "journal")).boot
        wait_for(lambda: store.through("test", boot) >= wanted, 400)
        took_s = time.monotonic() - began_s
        controller.send_signal(signal.SIGTERM)
        assert controller.wait(60) == 0
    finally:
        controller.kill()
        controller.wait()
        ingest.stop()
    said = [line for line in lines_in(folder / "journal") if isinstance(line, wire.Tick)]
    through = store.through("test", boot)
    with store._database.reading() as connection:
        kept, different = connection.execute(
            "SELECT count(*), count(DISTINCT seq) FROM ticks"
        ).fetchone()
    known = {line.seq for line in said if line.seq <= through}
    lost = len(known) - different if different < len(known) else 0
    missing = len(store.missing("test", boot))
    store.close()
    return {
        "ticks": kept, "lost": lost, "gaps": missing, "doubled": kept - different, "took_s": took_s
    }  # fmt: skip


@pytest.mark.hazard(50)
def test_a_dashboard_that_was_away_gets_everything_once(
    tmp_path: Path, mosquitto: Mosquitto
) -> None:
    counts = caught_up(tmp_path, mosquitto, 0.5, 20)
    assert counts["ticks"] >= 0.5 * 86_400 / 20
    assert (counts["lost"], counts["gaps"], counts["doubled"]) == (0, 0, 0)


@pytest.mark.bench
def test_a_week_of_ticks_of_ten_seconds(
    tmp_path: Path, mosquitto: Mosquitto, capsys: pytest.CaptureFixture[str]
) -> None:
    counts = caught_up(tmp_path, mosquitto, WEEK_DAYS, 10)
    with capsys.disabled():
        print(f"\n{counts}")
    assert counts["ticks"] >= WEEK_DAYS * 86_400 / 10
    assert (counts["lost"], counts["gaps"], counts["doubled"]) == (0, 0, 0)
