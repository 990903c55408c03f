"""Signing in and out by keyboard alone, in a real browser, on a plain-HTTP name and on localhost.

On a plain-HTTP host name a browser sends no `Sec-Fetch-Site` and keeps no `Secure` cookie; on
localhost it does both. Each test runs under both names.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright
from starlette.applications import Starlette
from starlette.responses import HTMLResponse
from starlette.routing import Route

from tests.browser.served import FLAGS, running
from tests.browser.states import warming
from tests.dashboard.access.house import WORDS, House

RULES = "MAP pi.lan 127.0.0.1, MAP evil.example 127.0.0.1"
NAMES = pytest.mark.parametrize("name", ["pi.lan", "localhost"])
FOREIGN = """<!doctype html><title>Foreign</title>
<form method="post" action="{action}">
<input name="entered" value="1.010"><input name="batch" value="1"><button>Go</button></form>"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    path = shutil.which("chromium")
    assert path, "No chromium on this machine. Install it: apt-get install chromium."
    with sync_playwright() as playwright:
        flags = [*FLAGS, f"--host-resolver-rules={RULES}"]
        found = playwright.chromium.launch(executable_path=path, args=flags)
        yield found
        found.close()


class Stub:
    """What `running` wants of an application."""

    @staticmethod
    def close() -> None:
        """Nothing streams here."""


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    made = House(tmp_path).populate()
    warming(made.scene)
    yield made
    made.close()


@pytest.fixture
def port(house: House) -> Iterator[str]:
    with running(house.app) as address:
        yield address.rpartition(":")[2]


def opened(browser: Browser, address: str) -> Page:
    page = browser.new_context().new_page()
    page.goto(address)
    return page


def typed(page: Page, name: str, password: str) -> None:
    """From the top of the page: over the skip link and the page's name to the form."""
    for _ in range(3):
        page.keyboard.press("Tab")
    expect(page.get_by_label("Name")).to_be_focused()
    page.keyboard.press("ControlOrMeta+a")
    page.keyboard.type(name)
    page.keyboard.press("Tab")
    page.keyboard.type(password)
    page.keyboard.press("Enter")


@NAMES
def test_in_and_out_by_keyboard_alone(house, port, browser, name):
    page = opened(browser, f"http://{name}:{port}/chambers/garage-left")
    expect(page).to_have_url(f"http://{name}:{port}/sign-in?next=/chambers/garage-left")
    typed(page, "brewer", "not the password")
    expect(page.get_by_role("alert")).to_contain_text("Not signed in.")
    typed(page, "brewer", WORDS["brewer"])
    expect(page).to_have_url(f"http://{name}:{port}/chambers/garage-left")
    expect(page.get_by_text("brewer", exact=True)).to_be_visible()
    assert page.evaluate("document.cookie") == ""
    (cookie,) = page.context.cookies()
    assert (cookie["httpOnly"], cookie["sameSite"], cookie["secure"]) == (True, "Lax", False)

    page.keyboard.press("Tab")
    for _ in range(12):
        if page.evaluate("document.activeElement.textContent") == "Sign out":
            break
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page).to_have_url(f"http://{name}:{port}/sign-in")
    page.goto(f"http://{name}:{port}/chambers/garage-left")
    expect(page.get_by_role("button", name="Sign in")).to_be_visible()
    page.context.close()


def sign_in(browser: Browser, address: str, name: str) -> Page:
    page = opened(browser, f"{address}/sign-in?next=/chambers/garage-left")
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(WORDS[name])
    page.get_by_role("button", name="Sign in").click()
    expect(page).to_have_url(f"{address}/chambers/garage-left")
    return page


@NAMES
def test_the_forms_of_the_page_work_and_a_lookers_are_not_there(house, port, browser, name):
    address = f"http://{name}:{port}"
    page = sign_in(browser, address, "brewer")
    page.get_by_role("textbox", name="Gravity read").fill("1.041")
    page.locator("[name=sample]").fill("31")
    page.locator("[name=sample]").press("Enter")
    expect(page.get_by_role("row").last).to_contain_text("1.041 SG")
    assert len(house.store.gravities(1)) == 1
    assert house.store.changes(1)[0].by.who == "brewer"
    page.context.close()
    page = sign_in(browser, address, "guest")
    expect(page.locator("[name=entered]")).to_be_hidden()
    expect(page.get_by_text("You may look here, but not change anything.")).to_be_visible()
    page.context.close()


@NAMES
def test_a_foreign_page_cannot_send_a_form_with_our_session(house, port, browser, name):
    """`evil.example` is another site; a port of the same host is the same site, as browsers see it:
    SameSite sends the cookie there, and only the origin and the seal tell them apart.
    """
    address = f"http://{name}:{port}"
    page = sign_in(browser, address, "brewer")
    html = FOREIGN.format(action=f"{address}/chambers/garage-left/gravity")
    other = Starlette(routes=[Route("/", lambda _: HTMLResponse(html))])
    other.state.streams = Stub
    with running(other) as foreign:
        for host in ("evil.example", name):
            page.goto(f"http://{host}:{foreign.rpartition(':')[2]}/")
            with page.expect_navigation() as moved:
                page.get_by_role("button", name="Go").click()
            assert moved.value.status == 403
    assert house.store.gravities(1) == ()
    page.context.close()


def test_an_open_page_hears_nothing_more_once_its_user_is_sent_away(house, port, browser):
    page = sign_in(browser, f"http://pi.lan:{port}", "guest")
    house.people.remove_user("guest")
    house.hub.heard(house.hub.newest("garage-left").tick, house.now_utc_s, False)
    expect(page.get_by_text("Not connected to the dashboard.")).to_be_visible(timeout=10_000)
    page.context.close()
