"""Where the dashboard may be reached from: this machine alone until somebody can sign in."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import httpx
import pytest

from controller.errors import SettingsError
from dashboard.access.entry import hashed
from dashboard.keeping.people import People, path_beside
from dashboard.serving import CONNECTIONS_MAX, opened
from dashboard.settings import settings_of
from tests.broker import free_port, wait_for
from tests.dashboard.access.house import HASHES, WORDS

ROOT = Path(__file__).parents[2]


def text_of(folder: Path, web: str) -> str:
    return f'[store]\npath = "{folder}/store.db"\n[broker]\nport = 1\n[web]\n{web}\n'


@pytest.mark.parametrize(
    "web", ['host = "0.0.0.0"', "needs_login = true", 'proxies = ["127.0.0.1"]']
)
def test_nobody_is_served_where_nobody_could_sign_in(tmp_path, web):
    settings = settings_of(text_of(tmp_path, web))
    with pytest.raises(SettingsError) as caught, opened(settings, time.time):
        pass
    assert "no user yet" in caught.value.what
    assert "barmkeep-dashboard user add NAME --role changer" in caught.value.remedy
    people = People(path_beside(tmp_path / "store.db"))
    people.add_user("brewer", "changer", HASHES["brewer"], 0.0)
    people.close()
    with opened(settings, time.time) as parts:
        assert parts.access.asks
        parts.access.people.remove_user("brewer")
        assert parts.access.asks, "sending the last user away must not open the door"


class Served:
    """The program as a person starts it."""

    def __init__(self, folder: Path, more: str = "") -> None:
        self.port = free_port()
        self.settings = folder / "dashboard.toml"
        self.settings.write_text(text_of(folder, f"port = {self.port}\n{more}"))
        self.process = subprocess.Popen(
            [sys.executable, "-m", "dashboard", "serve", "--settings", str(self.settings)],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            text=True,
            env={**os.environ, "PYTHONUNBUFFERED": "1"},
        )
        wait_for(self.answers, 60)

    def answers(self) -> bool:
        assert self.process.poll() is None, "it ended by itself"
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", self.port)) == 0

    def stop(self) -> str:
        self.process.send_signal(signal.SIGTERM)
        return self.process.communicate(timeout=30)[0]


def test_the_first_start_says_how_to_make_the_first_user_who_closes_it_at_once(tmp_path):
    served = Served(tmp_path)
    address = f"http://127.0.0.1:{served.port}"
    try:
        assert httpx.get(address).status_code == 200
        (tmp_path / "password").write_text(WORDS["brewer"])
        made = [sys.executable, "-m", "dashboard", "user", "add", "brewer", "--role", "changer"]
        made += ["--settings", str(served.settings), "--password-file", str(tmp_path / "password")]
        subprocess.run(made, cwd=ROOT, check=True, capture_output=True)
        assert httpx.get(address).status_code == 303
    finally:
        said = served.stop()
    assert "served on this machine only" in said
    assert f"user add NAME --role changer --settings {served.settings}" in said


def test_a_flood_of_connections_is_answered_with_wait_and_ends_with_it(tmp_path):
    people = People(path_beside(tmp_path / "store.db"))
    people.add_token("screen", "looker", hashed("token"), 0.0)
    people.close()
    served = Served(tmp_path)
    address = f"http://127.0.0.1:{served.port}/api/v1/chambers"
    token = {"authorization": "Bearer token"}
    held = []
    try:
        for _ in range(CONNECTIONS_MAX + 5):
            held.append(socket.create_connection(("127.0.0.1", served.port), timeout=5))
        wait_for(lambda: httpx.get(address, headers=token).status_code == 503)
        for each in held:
            each.close()
        wait_for(lambda: httpx.get(address, headers=token).status_code == 200)
    finally:
        served.stop()
