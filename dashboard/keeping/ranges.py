"""Which lines of one boot are held: the whole of it as a few ranges, not a number each.

Pure. It answers the two questions that make delivery honest: have we this line already, and up to
which line do we have every one. The store keeps one of these for each boot it hears.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable


class Ranges:
    """A set of whole numbers from 1, kept as ordered ranges that neither touch nor overlap."""

    __slots__ = ("_firsts", "_lasts")

    def __init__(self, ranges: Iterable[tuple[int, int]] = ()) -> None:
        self._firsts: list[int] = []
        self._lasts: list[int] = []
        for first, last in sorted(ranges):
            assert first <= last and (not self._lasts or first > self._lasts[-1])
            self._firsts.append(first)
            self._lasts.append(last)

    def add(self, number: int) -> bool:
        """Whether this number is new; it is in the set afterwards."""
        at = bisect_right(self._firsts, number) - 1
        if at >= 0 and number <= self._lasts[at]:
            return False
        joins_left = at >= 0 and self._lasts[at] == number - 1
        joins_right = at + 1 < len(self._firsts) and self._firsts[at + 1] == number + 1
        if joins_left and joins_right:
            self._lasts[at] = self._lasts.pop(at + 1)
            del self._firsts[at + 1]
        elif joins_left:
            self._lasts[at] = number
        elif joins_right:
            self._firsts[at + 1] = number
        else:
            self._firsts.insert(at + 1, number)
            self._lasts.insert(at + 1, number)
        return True

    @property
    def through(self) -> int:
        """The highest number such that every one from 1 to it is held; 0 when 1 is not."""
        return self._lasts[0] if self._firsts and self._firsts[0] == 1 else 0

    def beyond(self) -> tuple[tuple[int, int], ...]:
        """The ranges held after the first missing number."""
        whole = tuple(zip(self._firsts, self._lasts, strict=True))
        return whole[1:] if self.through else whole

    def missing(self) -> tuple[tuple[int, int], ...]:
        """The gaps below the greatest number held, as ranges, lowest first."""
        starts = [1, *(last + 1 for last in self._lasts)]
        pairs = zip(starts, self._firsts, strict=False)
        return tuple((start, first - 1) for start, first in pairs if start < first)

    def copy(self) -> Ranges:
        """Another set with the same numbers."""
        return Ranges(zip(self._firsts, self._lasts, strict=True))
