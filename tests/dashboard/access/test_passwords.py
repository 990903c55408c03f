"""Passwords: hashed as OWASP asks, one at a time, and checked in the same time for nobody."""

from __future__ import annotations

import hashlib
import threading
import time

import argon2
import pytest

from dashboard.access import passwords
from dashboard.access.passwords import BusyError, Passwords, check_strength
from dashboard.errors import EntryError

BOTH = pytest.mark.parametrize("with_argon2", [True, False])


@BOTH
def test_the_right_one_is_right_and_no_other(with_argon2):
    hasher = Passwords(with_argon2)
    kept = hasher.hash("a winter garage")
    assert hasher.is_right(kept, "a winter garage")
    assert not hasher.is_right(kept, "a winter garagE")
    assert not hasher.is_right(None, "a winter garage")
    assert not hasher.is_outdated(kept) and kept != hasher.hash("a winter garage")


def test_each_method_checks_what_the_other_has_hashed_and_calls_it_outdated():
    argon, scrypt = Passwords(True), Passwords(False)
    for one, other in ((argon, scrypt), (scrypt, argon)):
        kept = one.hash("a winter garage")
        assert other.is_right(kept, "a winter garage") and not other.is_right(kept, "other")
        assert other.is_outdated(kept)


def test_the_costs_are_those_of_the_cheat_sheet():
    # Source: OWASP Password Storage Cheat Sheet, argon2id m=19456 t=2 p=1; scrypt N=2^14 r=8 p=5.
    kept = Passwords(True).hash("a winter garage")
    assert kept.startswith("$argon2id$v=19$m=19456,t=2,p=1$")
    found = argon2.extract_parameters(kept)
    assert (found.memory_cost, found.time_cost, found.parallelism) == (19456, 2, 1)
    assert Passwords(False).hash("a winter garage").startswith("$scrypt$ln=14,r=8,p=5$")


def test_scrypt_is_the_standards():
    # Source: RFC 7914, section 12, the third test vector (N = 16384, r = 8, p = 1).
    found = hashlib.scrypt(b"pleaseletmein", salt=b"SodiumChloride", n=16384, r=8, p=1)
    ours = passwords._scrypt(b"pleaseletmein", b"SodiumChloride", "ln=14,r=8,p=1")
    assert ours == found[:32]
    assert ours.hex().startswith("7023bdcb3afd7348461c06cd81fd38eb")


def test_a_keyboard_that_composes_letters_makes_the_same_password():
    hasher = Passwords()
    assert hasher.is_right(
        hasher.hash("a\u030angstro\u0308m at night"), "\u00e5ngstr\u00f6m at night"
    )


def test_a_hash_of_a_method_this_machine_lacks_says_what_to_do(monkeypatch):
    kept = Passwords(True).hash("a winter garage")
    monkeypatch.setattr(passwords, "argon2", None)
    with pytest.raises(EntryError, match="user password NAME"):
        Passwords(False).is_right(kept, "a winter garage")


def test_nobody_costs_what_somebody_costs(monkeypatch):
    hasher, hashes = Passwords(), []
    kept = hasher.hash("a winter garage")
    hasher.is_right(None, "first")  # makes the decoy
    inner = hasher._matches
    monkeypatch.setattr(
        Passwords, "_matches", lambda _self, kept, typed: hashes.append(kept) or inner(kept, typed)
    )
    hasher.is_right(kept, "wrong")
    hasher.is_right(None, "wrong")
    assert [each.rsplit("$", 2)[0] for each in hashes] == ["$argon2id$v=19$m=19456,t=2,p=1"] * 2


def test_hashes_are_made_one_at_a_time_and_few_may_wait(monkeypatch):
    hasher, at_once, most = Passwords(), [], []

    def slow(_self, _kept, _password):
        at_once.append(1)
        most.append(len(at_once))
        time.sleep(0.1)
        at_once.pop()
        return True

    monkeypatch.setattr(Passwords, "_matches", slow)
    monkeypatch.setattr(Passwords, "_hashed", lambda *_: "decoy")
    busy = []

    def check():
        try:
            hasher.is_right("kept", "typed")
        except BusyError:
            busy.append(1)

    threads = [threading.Thread(target=check) for _ in range(9)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert max(most) == 1 and len(most) == passwords.WAITING_MAX and len(busy) == 5


@pytest.mark.parametrize(
    ("password", "expected"),
    [
        ("short", "5 characters"),
        ("x" * 257, "257 characters"),
        ("aaaaaaaaaaaaaab", "first that would be tried"),
        ("brewer brewer 1", "first that would be tried"),
    ],
)
def test_what_would_be_guessed_is_refused(password, expected):
    with pytest.raises(EntryError) as caught:
        check_strength(password, "Brewer")
    assert expected in str(caught.value)


def test_a_sentence_is_taken():
    check_strength("vier kalte Wochen im Keller", "jo")
