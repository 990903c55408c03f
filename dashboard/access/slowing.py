"""Guessing made slow: after a few misses each further try must wait, and ever longer.

Counted by account and by address, known or not, so that the wait tells nothing of who exists. A try
counts as a miss from the moment it begins, so that many at once gain nothing, and is forgotten when
it turns out right. Nothing is kept over a restart. It knows no passwords.
"""

from __future__ import annotations

import ipaddress
import threading
from collections import OrderedDict
from dataclasses import dataclass

FREE_MISSES = 5  # Why: a person mistypes, looks for the right password, mistypes again.
WAIT_S_FIRST = 2.0  # Why: the next one is doubled each time, up to the longest below.
# Why: a stranger can make the owner of an account wait this long, so not longer; it still leaves
# a guesser 1440 tries a day, against passwords of twelve characters and more.
ACCOUNT_WAIT_S_MAX = 60.0
ADDRESS_WAIT_S_MAX = 900.0  # Why: an address that goes on missing is no person.
FORGET_S = 86_400.0  # Why: yesterday's slips are nobody's concern.
KEPT_MAX = 5000  # Why: a few hundred kilobytes; beyond it the one longest unseen is forgotten.
PREFIX_BITS_V6 = 64  # Source: RFC 4291, 2.5.1: one network's hosts share these; all are one guest.


@dataclass(slots=True)
class _Misses:
    count: int
    last_utc_s: float


class Slowing:
    """Counts misses. Safe to call from any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._kept: OrderedDict[str, _Misses] = OrderedDict()

    def begin(self, account: str, address: str, now_utc_s: float) -> float:
        """0 when this try may go on, and it is then counted; else the seconds still to wait."""
        keys = {f"a:{account}": ACCOUNT_WAIT_S_MAX, f"n:{network(address)}": ADDRESS_WAIT_S_MAX}
        with self._lock:
            wait_s = max(self._wait_s(key, most_s, now_utc_s) for key, most_s in keys.items())
            if wait_s > 0:
                return wait_s
            for key in keys:
                misses = self._kept.setdefault(key, _Misses(0, now_utc_s))
                misses.count += 1
                misses.last_utc_s = now_utc_s
                self._kept.move_to_end(key)
            while len(self._kept) > KEPT_MAX:
                self._kept.popitem(last=False)
        return 0.0

    def was_right(self, account: str, address: str) -> None:
        """The try that was begun last was right. Only its own count is taken from the address, as
        others may be guessing from there.
        """
        with self._lock:
            self._kept.pop(f"a:{account}", None)
            misses = self._kept.get(f"n:{network(address)}")
            if misses is not None:
                misses.count -= 1

    def _wait_s(self, key: str, most_s: float, now_utc_s: float) -> float:
        misses = self._kept.get(key)
        if misses is None:
            return 0.0
        since_s = now_utc_s - misses.last_utc_s
        if not 0 <= since_s <= FORGET_S:  # Why: below nought the clock was put back.
            del self._kept[key]
            return 0.0
        if misses.count < FREE_MISSES:
            return 0.0
        wait_s = min(WAIT_S_FIRST * 2.0 ** min(misses.count - FREE_MISSES, 30), most_s)
        return max(0.0, wait_s - since_s)


def network(address: str) -> str:
    """What counts as one address."""
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return address[:64]
    if isinstance(found, ipaddress.IPv6Address):
        if found.ipv4_mapped is not None:
            return str(found.ipv4_mapped)
        return str(ipaddress.ip_network((int(found), PREFIX_BITS_V6), strict=False))
    return str(found)
