"""A real browser, and visits to the pages of an invented scene."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from tests.browser.served import chromium, served
from tests.browser.states import Scene, scene_of
from tests.browser.visits import Visit


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as found:
        yield found


@pytest.fixture
def visit(browser: Browser, tmp_path: Path):
    """visit(state, **browser settings) opens a page of that state."""
    left = []

    def opened_page(state: str, path: str = "", **more) -> tuple[Page, Scene]:
        scene, own_path = scene_of(state, tmp_path)
        server = served(scene.store, scene.hub, lambda: scene.now_utc_s)
        address = server.__enter__()
        seen = Visit(browser, address + own_path + path, **more)
        left.append((seen, server, scene, address))
        return seen.page, scene

    yield opened_page
    for seen, server, scene, address in left:
        seen.context.close()
        server.__exit__(None, None, None)
        scene.store.close()
        assert seen.complaints == []
        assert all(url.startswith(address) for url in seen.asked), "asked of another machine"
