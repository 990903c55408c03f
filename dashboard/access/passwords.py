"""Passwords: which are taken, how they are hashed, and how one is checked.

Slow on purpose and one at a time, so that a flood of guesses costs neither memory nor the ticks. A
check against nobody costs what a check against somebody costs. It knows no users and no sessions.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import secrets
import threading
import unicodedata

from controller.errors import BarmkeepError
from dashboard.errors import EntryError

try:
    import argon2
except ImportError:  # Why: 32-bit boards have no ready-made wheel; scrypt comes with Python.
    argon2 = None  # type: ignore[assignment]

# Why: a single factor, guessed at some 1500 a day at most (slowing.py); a sentence is longer.
LENGTH_MIN = 12
LENGTH_MAX = 256  # Why: a hash is no place to send a book to; long sentences fit.
DISTINCT_MIN = 5  # Why: twelve times the same letter is the first thing tried.
NAME_MIN = 4  # Why: a shorter name is in many a good sentence.
WAITING_MAX = 4  # Why: more people than this do not sign in within one second of each other.

# Source: OWASP Password Storage Cheat Sheet: Argon2id with 19 MiB, 2 passes, 1 lane.
ARGON2_KIB = 19_456
ARGON2_PASSES = 2  # Source: as above.
ARGON2_LANES = 1  # Source: as above.
# Source: OWASP Password Storage Cheat Sheet: scrypt with N = 2^14 (16 MiB), r = 8, p = 5.
SCRYPT_LOG_N = 14
SCRYPT_R = 8  # Source: as above.
SCRYPT_P = 5  # Source: as above.
SALT_BYTES = 16  # Source: RFC 9106, section 3.1: 16 bytes are recommended for password hashing.
SCRYPT_MEMORY_BYTES = 64 * 1024 * 1024  # Why: four times what it takes; OpenSSL wants room.


class BusyError(BarmkeepError):
    """Too many are signing in at this moment. Whoever did should try again."""


class Passwords:
    """Hashes and checks, one at a time. Blocks for as long as a hash takes; not for an event loop.

    Args:
        with_argon2: whether to use Argon2id; else scrypt. By default what this machine has.
    """

    def __init__(self, with_argon2: bool = argon2 is not None) -> None:
        self._turn = threading.Lock()
        self._seats = threading.BoundedSemaphore(WAITING_MAX)
        self._hasher = (
            argon2.PasswordHasher(
                time_cost=ARGON2_PASSES, memory_cost=ARGON2_KIB, parallelism=ARGON2_LANES
            )
            if with_argon2
            else None
        )
        self._decoy: str | None = None

    def hash(self, password: str) -> str:
        """The hash to keep, with its method, costs and salt."""
        with self._turn:
            return self._hashed(password)

    def is_right(self, kept: str | None, password: str) -> bool:
        """Whether this password has this hash. `kept` is None for a user who does not exist; that
        is never right, and takes as long.

        Raises:
            BusyError: too many wait already.
            EntryError: the hash was made by a method this machine lacks.
        """
        if not self._seats.acquire(blocking=False):
            raise BusyError("Too many people are signing in just now.", "Try again in a moment.")
        try:
            with self._turn:
                if self._decoy is None:
                    self._decoy = self._hashed(secrets.token_hex())
                is_right = self._matches(kept or self._decoy, password)
        finally:
            self._seats.release()
        return is_right and kept is not None

    def is_outdated(self, kept: str) -> bool:
        """Whether a hash made now would be of another method or cost."""
        if self._hasher is not None:
            return not kept.startswith("$argon2") or self._hasher.check_needs_rehash(kept)
        return not kept.startswith(_scrypt_start())

    def _hashed(self, password: str) -> str:
        if self._hasher is not None:
            return self._hasher.hash(_bytes(password))
        salt = secrets.token_bytes(SALT_BYTES)
        return f"{_scrypt_start()}{_base64(salt)}${_base64(_scrypt(_bytes(password), salt))}"

    def _matches(self, kept: str, password: str) -> bool:
        if kept.startswith("$scrypt$"):
            _, _, costs, salt, digest = kept.split("$")
            found = _scrypt(_bytes(password), base64.b64decode(salt), costs)
            return hmac.compare_digest(found, base64.b64decode(digest))
        if argon2 is None:
            raise EntryError(
                "This password was hashed by a method this machine lacks (Argon2).",
                "Install argon2-cffi, or set it anew: barmkeep-dashboard user password NAME.",
            )
        try:
            return argon2.PasswordHasher().verify(kept, _bytes(password))
        except argon2.exceptions.VerificationError:
            return False


def check_strength(password: str, name: str) -> None:
    """Raises:
    EntryError: nobody should choose this one.
    """
    length = len(password)
    if not LENGTH_MIN <= length <= LENGTH_MAX:
        raise EntryError(
            f"That password has {length} characters.",
            f"Choose {LENGTH_MIN} to {LENGTH_MAX}; a short sentence is easy to type on a phone.",
        )
    has_name = len(name) >= NAME_MIN and name.casefold() in password.casefold()
    if len(set(password)) < DISTINCT_MIN or has_name:
        raise EntryError(
            "That password is the first that would be tried.",
            "Do not repeat a few letters, and leave the name out of it.",
        )


def _bytes(password: str) -> bytes:
    # Source: NIST SP 800-63B-4, 3.1.1.2: normalise before hashing, as keyboards differ.
    return unicodedata.normalize("NFKC", password).encode()


def _scrypt_start() -> str:
    return f"$scrypt$ln={SCRYPT_LOG_N},r={SCRYPT_R},p={SCRYPT_P}$"


def _scrypt(password: bytes, salt: bytes, costs: str = "") -> bytes:
    named = dict(each.split("=") for each in costs.split(",")) if costs else {}
    return hashlib.scrypt(
        password,
        salt=salt,
        n=2 ** int(named.get("ln", SCRYPT_LOG_N)),
        r=int(named.get("r", SCRYPT_R)),
        p=int(named.get("p", SCRYPT_P)),
        maxmem=SCRYPT_MEMORY_BYTES,
        dklen=32,
    )


def _base64(raw: bytes) -> str:
    return base64.b64encode(raw).decode()
