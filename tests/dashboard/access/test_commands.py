"""Users and tokens from the command line, as a person types it."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from dashboard.__main__ import main
from dashboard.access import commands
from dashboard.access.entry import Access, hashed
from dashboard.keeping.people import People

PASSWORD = "a winter garage at night"


@pytest.fixture
def run(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    settings = tmp_path / "dashboard.toml"
    settings.write_text(f'[store]\npath = "{tmp_path}/store.db"\n')
    (tmp_path / "password").write_text(PASSWORD + "\n")

    def typed(line: str, code: int = 0) -> str:
        words = [*line.replace("PASSWORD", f"{tmp_path}/password").split()]
        assert main([*words, "--settings", str(settings)]) == code
        said = capsys.readouterr()
        return said.out if code == 0 else said.err

    return typed


def enters(folder: Path, name: str, password: str = PASSWORD) -> bool:
    people = People(folder / "store-people.db")
    try:
        return bool(Access(people, lambda: 0.0).sign_in(name, password, "here", None))
    finally:
        people.close()


def test_a_first_user_can_then_sign_in(run, tmp_path):
    said = run("user add Brewer --role changer --password-file PASSWORD")
    assert said == "Brewer may look and change. From now on visitors must sign in.\n"
    assert enters(tmp_path, "brewer")
    assert "Brewer" in run("user list") and "changer" in run("user list")
    assert not (tmp_path / "store.db").exists()


def test_a_password_is_typed_twice(run, tmp_path, monkeypatch):
    monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
    typed = iter([PASSWORD, "a winter garage at nigth", PASSWORD, PASSWORD])
    monkeypatch.setattr(commands.getpass, "getpass", lambda _: next(typed))
    assert "The two passwords differ" in run("user add guest --role looker", 2)
    assert run("user list") == "There is no user yet.\n"
    assert "guest may look." in run("user add guest --role looker")
    assert enters(tmp_path, "guest")


def test_without_a_terminal_a_file_is_asked_for(run, monkeypatch):
    monkeypatch.setattr(sys.stdin, "isatty", lambda: False, raising=False)
    assert "--password-file" in run("user add guest --role looker", 2)


def test_a_weak_password_and_a_taken_name_are_refused_with_the_remedy(run, tmp_path):
    run("user add guest --role looker --password-file PASSWORD")
    said = run("user add GUEST --role changer --password-file PASSWORD", 2)
    assert said == "There is a user GUEST already.\nChoose another name.\n"
    (tmp_path / "password").write_text("secret\n")
    assert "Choose 12 to 256" in run("user add other --role looker --password-file PASSWORD", 2)


def test_a_password_and_a_role_change_and_a_user_goes(run, tmp_path):
    run("user add guest --role looker --password-file PASSWORD")
    (tmp_path / "password").write_text("quite another long sentence\n")
    assert "signed out everywhere" in run("user password guest --password-file PASSWORD")
    assert enters(tmp_path, "guest", "quite another long sentence")
    assert run("user role guest changer") == "guest is now a changer.\n"
    assert "There is no user left" in run("user remove guest")
    assert run("user remove guest", 2).startswith("There is no user guest.")


def test_a_token_is_shown_once_and_kept_as_a_hash(run, tmp_path):
    token = run("token add hydrometer-1 --role changer").splitlines()[0]
    assert token.startswith("barmkeep_") and len(token) > 50
    assert token not in run("token list") and "hydrometer-1" in run("token list")
    people = People(tmp_path / "store-people.db")
    assert people.token(hashed(token)).name == "hydrometer-1"
    people.close()
    assert "opens nothing any more" in run("token remove hydrometer-1")
    assert run("token list") == "There is no token yet.\n"


def test_a_password_never_stands_on_the_command_line(run, capsys):
    with pytest.raises(SystemExit):
        main(["user", "add", "guest", "--role", "looker", "--password", PASSWORD])
    assert "unrecognized" in capsys.readouterr().err
