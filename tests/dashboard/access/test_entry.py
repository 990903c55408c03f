"""Sessions and tokens: made, kept as hashes only, ended when idle, old, signed out or sent away."""

from __future__ import annotations

import os
import sqlite3
import stat

import pytest

from controller.errors import DiskError
from dashboard.access import entry
from dashboard.access.entry import SignInError, checked_name, hashed
from dashboard.access.roles import NOBODY, How, Role
from dashboard.errors import EntryError
from dashboard.keeping import people as keeping
from dashboard.keeping.people import People
from dashboard.store import Store
from tests.dashboard.access.house import WORDS

PLACE = "192.168.1.20"


def enter(house, name="brewer", old=None) -> str:
    return house.access.sign_in(name, WORDS[name], PLACE, old)


def test_a_session_says_who_and_what_they_may(house):
    for name, role in (("brewer", Role.CHANGER), ("guest", Role.LOOKER)):
        who = house.access.visitor(enter(house, name), None)
        assert (who.name, who.role, who.how) == (name, role, How.SESSION)


def test_capitals_and_spaces_round_a_name_do_not_matter(house):
    cookie = house.access.sign_in("  BREWER ", WORDS["brewer"], PLACE, None)
    assert house.access.visitor(cookie, None).name == "brewer"


def test_nothing_that_opens_anything_stands_in_the_file(house):
    cookie = enter(house)
    house.people._database._writer.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    path = house.folder / "store-people.db"
    content = path.read_bytes()
    for secret in (cookie, "token-hydrometer-1", *WORDS.values()):
        assert secret.encode() not in content
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert hashed(cookie) in content


def test_each_session_is_another_one_of_256_bits(house):
    cookies = {enter(house) for _ in range(5)}
    assert len(cookies) == 5 and min(map(len, cookies)) >= 43


@pytest.mark.parametrize("name", ["nobody", "", "x" * 5000, "brewer\x00"])
def test_an_unknown_user_is_answered_as_a_wrong_password_is(house, name):
    found = []
    for who, password in ((name, WORDS["brewer"]), ("brewer", "wrong")):
        with pytest.raises(SignInError) as caught:
            house.access.sign_in(who, password, PLACE, None)
        found.append((str(caught.value), caught.value.wait_s))
    assert found[0] == found[1]


def test_guessing_is_stopped_before_anything_is_hashed(house, monkeypatch):
    for _ in range(5):
        with pytest.raises(SignInError, match="do not go together"):
            house.access.sign_in("brewer", "wrong", PLACE, None)
    monkeypatch.setattr(type(house.access.passwords), "is_right", lambda *_: pytest.fail("hashed"))
    with pytest.raises(SignInError, match="Wait 2 seconds") as caught:
        house.access.sign_in("brewer", WORDS["brewer"], PLACE, None)
    assert caught.value.wait_s == 2
    monkeypatch.undo()
    house.now_utc_s += 2
    assert enter(house)


def test_a_session_ends_idle_and_old(house):
    cookie = enter(house)
    for _ in range(3):
        house.now_utc_s += entry.IDLE_S - 10
        assert house.access.visitor(cookie, None).name == "brewer"
    house.now_utc_s += entry.IDLE_S + 1
    assert house.access.visitor(cookie, None).how is How.NOBODY
    assert house.people.session(hashed(cookie)) is None

    cookie = enter(house)
    for _ in range(int(entry.AGE_S_MAX / entry.IDLE_S) + 1):
        assert house.access.visitor(cookie, None).name == "brewer"
        house.now_utc_s += entry.IDLE_S - 10
    assert house.access.visitor(cookie, None).how is How.NOBODY


def test_its_use_is_noted_once_an_hour_not_at_each_request(house):
    cookie = enter(house)
    seen = [house.people.session(hashed(cookie)).seen_utc_s]
    for _ in range(10):
        house.now_utc_s += 1000
        house.access.visitor(cookie, None)
        seen.append(house.people.session(hashed(cookie)).seen_utc_s)
    assert len(set(seen)) == 3


def test_signing_in_ends_the_browsers_old_session_and_never_takes_over_a_given_one(house):
    first = enter(house)
    second = enter(house, old=hashed(first))
    assert second != first
    assert house.access.visitor(first, None).how is How.NOBODY
    assert house.access.visitor("chosen-by-somebody-else", None).how is How.NOBODY


def test_another_password_or_another_role_reaches_open_sessions(house):
    cookie = enter(house)
    who = house.access.visitor(cookie, None)
    assert house.access.is_still(who)
    house.people.set_role("brewer", "looker")
    assert house.access.visitor(cookie, None).role is Role.LOOKER
    assert not house.access.is_still(who)
    house.people.set_password("brewer", "another hash")
    assert house.access.visitor(cookie, None).how is How.NOBODY


def test_who_is_sent_away_is_out_at_once(house):
    cookie = enter(house)
    who = house.access.visitor(cookie, None)
    house.people.remove_user("Brewer")
    assert house.access.visitor(cookie, None).how is How.NOBODY
    assert not house.access.is_still(who)
    with pytest.raises(SignInError, match="do not go together"):
        enter(house)


def test_a_hash_of_old_costs_is_renewed_without_signing_anybody_out(house, monkeypatch):
    cookie = enter(house)
    monkeypatch.setattr(type(house.access.passwords), "is_outdated", lambda *_: True)
    before = house.people.user("brewer").password
    enter(house)
    assert house.people.user("brewer").password != before
    assert house.access.visitor(cookie, None).name == "brewer"


def test_a_user_has_few_sessions_and_the_longest_unseen_goes(house):
    cookies = []
    for _ in range(keeping.SESSIONS_PER_USER_MAX + 2):
        house.now_utc_s += 1
        cookies.append(enter(house))
    alive = [house.people.session(hashed(each)) is not None for each in cookies]
    assert alive == [False, False] + [True] * keeping.SESSIONS_PER_USER_MAX


def test_a_token_is_the_only_thing_looked_at_even_when_wrong(house):
    cookie = enter(house)
    who = house.access.visitor(cookie, "token-screen")
    assert (who.name, who.role, who.how, who.seal) == ("screen", Role.LOOKER, How.TOKEN, "")
    assert house.access.visitor(cookie, "wrong") == NOBODY
    assert house.access.visitor(cookie, "") == NOBODY
    house.people.remove_token("SCREEN")
    assert house.access.visitor(None, "token-screen") == NOBODY


def test_a_seal_belongs_to_one_session(house):
    one, other = (house.access.visitor(enter(house), None).seal for _ in range(2))
    stranger = house.access.visitor(None, None).seal
    assert len({one, other, stranger}) == 3 and min(map(len, (one, other, stranger))) == 40


def test_without_users_nobody_is_asked_and_a_form_opened_before_a_restart_still_holds(tmp_path):
    seals = []
    for _ in range(2):
        people = People(tmp_path / "people.db")
        access = entry.Access(people, lambda: 0.0)
        who = access.visitor(None, None)
        assert (who.how, who.role) == (How.OPEN, Role.CHANGER)
        seals.append(who.seal)
        people.add_user(f"user{len(seals)}", "looker", "hash", 0.0)
        assert access.visitor(None, None).how is How.NOBODY
        people.remove_user(f"user{len(seals)}")
        people.close()
    assert seals[0] == seals[1]


@pytest.mark.parametrize("always", [True, False])
def test_the_settings_may_say_always_or_never(tmp_path, always):
    people = People(tmp_path / "people.db")
    people.add_user("brewer", "looker", "hash", 0.0)
    assert entry.Access(people, lambda: 0.0, always).asks is always
    people.close()


# The file.


def test_two_programs_use_it_at_once(house):
    other = People(house.folder / "store-people.db")
    other.add_user("third", "looker", "hash", 0.0)
    assert house.people.user("third") is not None
    other.close()


def test_names_and_numbers_of_users_are_bounded(house):
    with pytest.raises(EntryError, match="called Brewer among the users"):
        house.people.add_user("Brewer", "looker", "hash", 0.0)
    for number in range(keeping.USERS_MAX - 2):
        house.people.add_user(f"user{number}", "looker", "hash", 0.0)
    with pytest.raises(EntryError, match="There are 50 users already"):
        house.people.add_user("one-more", "looker", "hash", 0.0)
    with pytest.raises(sqlite3.IntegrityError):
        house.people.set_role("brewer", "owner")
    with pytest.raises(EntryError, match="no user nobody"):
        house.people.remove_user("nobody")


@pytest.mark.parametrize("name", ["Åsa", "jo", "yeast.keeper-2", "Ян"])
def test_a_name_may_be_of_any_language(name):
    assert checked_name(f" {name} ") == name


@pytest.mark.parametrize("name", ["", "two words", "<b>", "_", "-x", "a" * 33, "a\nb", "x/y"])
def test_a_name_is_one_word(name):
    with pytest.raises(EntryError, match="one word"):
        checked_name(name)


def test_the_store_and_the_people_are_not_mistaken_for_each_other(house, monkeypatch):
    monkeypatch.setattr("dashboard.keeping.database.OPENING_TRIES", 3)
    with pytest.raises(DiskError, match="Another dashboard already uses the list of users"):
        People(house.folder / "store.db")
    Store.open(house.folder / "idle.db").close()
    with pytest.raises(DiskError, match="another program"):
        People(house.folder / "idle.db")
    with pytest.raises(DiskError, match="another program"):
        Store.open(house.folder / "store-people.db")


def test_a_folder_that_is_missing_or_anothers_is_said_so(tmp_path, monkeypatch):
    with pytest.raises(DiskError, match="Create it"):
        People(tmp_path / "none" / "people.db")
    monkeypatch.setattr("os.geteuid", lambda: 0)
    (tmp_path / "theirs").mkdir()
    stat_of = os.stat_result((0o40700, 0, 0, 0, 1234, 0, 0, 0, 0, 0))
    monkeypatch.setattr("pathlib.Path.stat", lambda self, **_: stat_of)
    with pytest.raises(DiskError, match="sudo -u '#1234'"):
        People(tmp_path / "theirs" / "people.db")
