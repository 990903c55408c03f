"""Orders by a person in a real browser, through a real Mosquitto, to a real controller process."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from dashboard.serving import opened
from dashboard.settings import settings_of
from tests.broker import Mosquitto, wait_for
from tests.browser.served import chromium, running
from tests.scenarios.garage import SETTINGS, lines_in

ROOT = Path(__file__).parents[2]
SHOWN_MS = 2000  # What was asked, and what became of it, is on the page within two seconds.


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as found:
        yield found


@pytest.fixture
def chamber(tmp_path: Path, mosquitto: Mosquitto) -> Iterator[tuple[str, Path]]:
    """The address of a dashboard that hears a running controller, and the controller's journal."""
    settings = tmp_path / "chamber.toml"
    settings.write_text(
        SETTINGS.format(target_c=35.0) + f'[broker]\nhost = "127.0.0.1"\nport = {mosquitto.port}\n'
    )
    words = ["simulate", "--settings", str(settings), "--days", "0.12", "--then-live"]
    words += [
        "--pace",
        "60",
        "--fault",
        "garage-missing@1h",
        "--journal",
        str(tmp_path / "journal"),
    ]
    controller = subprocess.Popen([sys.executable, "-m", "controller", *words], cwd=ROOT)
    dashboard = settings_of(
        f'[store]\npath = "{tmp_path / "store.sqlite"}"\ncommit_s = 1\n'
        f'[broker]\nhost = "127.0.0.1"\nport = {mosquitto.port}\n'
    )
    try:
        with opened(dashboard, time.time) as parts, running(parts.app) as address:

            def is_heard() -> bool:
                live = parts.hub.newest("test")
                return bool(live and live.tick and live.tick.alarms == ("garage-probe-lost",))

            wait_for(is_heard, 60)
            yield f"{address}/chambers/test", tmp_path / "journal"
    finally:
        controller.send_signal(signal.SIGTERM)
        assert controller.wait(30) == 0


def visited(browser: Browser, address: str, **more: object) -> Page:
    page = browser.new_context(**more).new_page()  # type: ignore[arg-type]
    page.goto(address)
    return page


def journalled(folder: Path, code: str) -> list[tuple[str, bool]]:
    events = [line for line in lines_in(folder) if not hasattr(line, "demand")]
    return [(each.state, each.order is not None) for each in events if each.code == code]


@pytest.mark.parametrize("with_script", [True, False])
def test_a_person_acknowledges_holds_resumes_and_is_refused(
    browser: Browser, chamber: tuple[str, Path], with_script: bool
) -> None:
    address, journal = chamber
    page = visited(browser, address, java_script_enabled=with_script)
    asked = page.locator("#asked")
    waits: list[float] = []

    def shows(text: str, began_s: float) -> None:
        expect(asked).to_contain_text(text, timeout=SHOWN_MS)
        waits.append(time.monotonic() - began_s)

    began_s = time.monotonic()
    page.get_by_role("button", name="I have seen it").click()
    shows("Done: Seen: garage probe lost. Noted as seen.", began_s)
    if not with_script:
        page.wait_for_timeout(500)
        page.goto(address)
    expect(page.locator("#wrong")).to_contain_text("Seen.", timeout=SHOWN_MS)

    page.get_by_label("Hold at, °C").fill("31,5")
    page.get_by_label("For how long").select_option("an hour")
    began_s = time.monotonic()
    page.get_by_role("button", name="Hold it there").click()
    shows("Done: Hold 31.5\u00a0°C for 60 min.", began_s)
    if not with_script:
        page.wait_for_timeout(500)
        page.goto(address)
    expect(asked).to_contain_text("Held at 31.5\u00a0°C by an order until", timeout=SHOWN_MS)
    expect(page.locator("#felt")).to_contain_text("Target31.5")

    page.get_by_label("Hold at, °C").fill("44")
    began_s = time.monotonic()
    page.get_by_role("button", name="Hold it there").click()
    shows("Refused: Hold 44.0\u00a0°C for 120 min. 44 °C is above the 41 °C this chamber", began_s)

    page.get_by_label("Hold at, °C").fill("warm")
    page.get_by_role("button", name="Hold it there").click()
    expect(page.get_by_label("Hold at, °C")).to_have_attribute("aria-invalid", "true")
    expect(page.get_by_text("“warm” is not a number")).to_be_visible()

    page.goto(address)
    began_s = time.monotonic()
    page.get_by_role("button", name="Resume now").click()
    shows("Done: Resume the procedure. The hold is ended", began_s)
    wait_for(lambda: ("ended", True) in journalled(journal, "hold"))
    assert journalled(journal, "hold") == [("begun", True), ("ended", True)]
    words = [state for state, _ in journalled(journal, "order")]
    assert words == ["taken", "taken", "refused", "taken"]
    print(f"shown after {max(waits):.2f} s at most, {'with' if with_script else 'without'} script")


def test_an_alarm_is_kept_quiet_and_let_speak_again(
    browser: Browser, chamber: tuple[str, Path]
) -> None:
    address, _ = chamber
    page = visited(browser, address)
    page.get_by_text("Keep quiet…").click()
    page.get_by_role("button", name="8 h", exact=True).click()
    expect(page.locator("#asked")).to_contain_text("Kept quiet until", timeout=SHOWN_MS)
    expect(page.locator("#wrong")).not_to_contain_text("garage temperature")
    page.get_by_role("button", name="Let it speak again").click()
    expect(page.locator("#wrong")).to_contain_text("garage temperature", timeout=2 * SHOWN_MS)


def test_a_batch_is_begun_with_its_procedure_moved_on_and_ended(
    browser: Browser, chamber: tuple[str, Path]
) -> None:
    address, journal = chamber
    page = visited(browser, address)
    page.get_by_role("link", name="Enter a batch").click()
    page.get_by_label("Name").fill("Winter pale")
    page.get_by_label("Kind of yeast").select_option("kveik")
    page.get_by_label("Volume").fill("20")
    page.get_by_label("Original gravity").fill("1.050")
    page.get_by_label("Let the controller follow this yeast’s procedure").check()
    page.get_by_role("button", name="Write it down").click()
    asked = page.locator("#asked")
    expect(asked).to_contain_text("Done: Begin Winter pale. Winter pale follows", timeout=SHOWN_MS)
    wait_for(lambda: ("begun", False) in journalled(journal, "profile"))
    page.get_by_text("Next step…").click()
    page.get_by_role("button", name="Leave this step and go on to the next").click()
    expect(asked).to_contain_text("Done: Go on to the next step. Step 2 of", timeout=SHOWN_MS)
    page.get_by_text("End…").click()
    page.get_by_role("button", name="End it: heat and fan stay off").click()
    expect(asked).to_contain_text("Done: End the batch.", timeout=SHOWN_MS)
    expect(page.locator("#now")).to_contain_text("no target is set", timeout=SHOWN_MS)
