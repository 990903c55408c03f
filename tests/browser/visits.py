"""A visit of a real browser to a page, with everything its console complained of."""

from __future__ import annotations

from playwright.sync_api import Browser, Page

DESK = {"width": 1280, "height": 900}
EXPECTED_NOISE = ("status of 422",)  # Why: a refused form is no trouble of the page.


class Visit:
    """A page of a scene, and everything its console complained of."""

    def __init__(self, browser: Browser, address: str, **more) -> None:
        self.complaints: list[str] = []
        self.asked: list[str] = []
        self.context = browser.new_context(**({"viewport": DESK} | more))
        self.page: Page = self.context.new_page()
        self.page.on("console", self._note)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.goto(address)

    def _note(self, message) -> None:
        is_noise = any(noise in message.text for noise in EXPECTED_NOISE)
        if message.type in ("error", "warning") and not is_noise:
            self.complaints.append(message.text)
