"""A dashboard with two users and two tokens, asked as browsers and devices ask it."""

from __future__ import annotations

import asyncio
import re
from dataclasses import dataclass, field
from pathlib import Path

import httpx

from dashboard.access.entry import Access, hashed
from dashboard.access.passwords import Passwords
from dashboard.keeping.people import People
from dashboard.live import LiveHub
from dashboard.settings import settings_of
from dashboard.store import Store
from dashboard.web.app import Beside, create_app
from tests.browser.served import ZONE
from tests.browser.states import NOW_UTC_S, Scene

HERE = "http://pi.lan:8124"
WORDS = {"brewer": "a winter garage at night", "guest": "only here to look at it"}
ROLES = {"brewer": "changer", "guest": "looker"}
DEVICES = {"hydrometer-1": "changer", "screen": "looker"}
HASHER = Passwords()
HASHES = {name: HASHER.hash(password) for name, password in WORDS.items()}


@dataclass
class House:
    """One dashboard, its people, and a clock to set."""

    folder: Path
    web: str = 'names = ["pi.lan"]'
    now_utc_s: float = NOW_UTC_S
    hub: LiveHub = field(default_factory=LiveHub)

    def __post_init__(self) -> None:
        settings = settings_of(f'[store]\npath = "unused"\n[web]\n{self.web}\n')
        self.store = Store.open(self.folder / "store.db")
        self.people = People(self.folder / "store-people.db")
        self.access = Access(self.people, lambda: self.now_utc_s, settings.web.always_asks, HASHER)
        beside = Beside(self.access)
        self.app = create_app(self.store, self.hub, settings, lambda: self.now_utc_s, ZONE, beside)
        self.scene = Scene(self.store, self.hub)

    def populate(self) -> House:
        """Make the users and the tokens, whose secret is `token-` and their name."""
        for name, role in ROLES.items():
            self.people.add_user(name, role, HASHES[name], NOW_UTC_S)
        for name, role in DEVICES.items():
            self.people.add_token(name, role, hashed(f"token-{name}"), NOW_UTC_S)
        return self

    def browser(self, address: str = HERE, **more) -> Browser:
        return Browser(self, address, **more)

    def close(self) -> None:
        self.people.close()
        self.store.close()


class Browser:
    """Keeps cookies and sends the origin as a browser does."""

    def __init__(self, house: House, address: str, client: str = "192.168.1.20") -> None:
        self._house = house
        self.address = address
        self.peer = client
        self.cookies = httpx.Cookies()
        self.always: dict[str, str] = {}

    def ask(self, method: str, path: str, **more) -> httpx.Response:
        async def asked() -> httpx.Response:
            transport = httpx.ASGITransport(self._house.app, client=(self.peer, 5000))
            async with httpx.AsyncClient(
                transport=transport, base_url=self.address, cookies=self.cookies
            ) as client:
                headers = {**self.always, **more.pop("headers", {})}
                answer = await client.request(method, path, headers=headers, **more)
                self.cookies = client.cookies
                return answer

        return asyncio.run(asked())

    def get(self, path: str, **more) -> httpx.Response:
        return self.ask("GET", path, **more)

    def seal(self, page: str = "/sign-in") -> str:
        return re.search(r'name="seal" value="(\w+)"', self.get(page).text)[1]

    def send(self, path: str, data: dict[str, str] | None = None, **more) -> httpx.Response:
        """A form of our own page."""
        headers = {"origin": self.address} | more.pop("headers", {})
        typed = {"seal": self.seal()} | (data or {})
        return self.ask("POST", path, data=typed, headers=headers, **more)

    def sign_in(self, name: str, password: str | None = None, **more) -> httpx.Response:
        typed = {"name": name, "password": WORDS.get(name) if password is None else password}
        return self.send("/sign-in", typed | more)
