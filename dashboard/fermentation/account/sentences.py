"""Sentences: the account as a brewer reads it.

First what it took and what is usual, then each cause with its figures and the nights by their
names, then what temperature does not explain and the test that would tell. It computes nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta, tzinfo

from dashboard.fermentation.account.account import Account
from dashboard.fermentation.account.signatures import Sign, Signature
from dashboard.fermentation.account.spells import Cause, Spell
from dashboard.fermentation.strains import Strain

SPELLS_MAX = 6  # Why: a winter of nights is told by its worst.
SMALL_H = 1.0  # Why: below an hour a figure says more than is known.
NIGHT = (20, 9)  # Why: from dusk to when a garage is coldest, in winter.


def in_words(
    account: Account, strain: Strain, pitched_utc_s: float, zone: tzinfo
) -> tuple[str, ...]:
    """The account in sentences, what cost most first.

    Args:
        account: of `account_of`.
        strain: the same kind of yeast.
        pitched_utc_s: when the batch's hours began.
        zone: in which nights are named.
    """
    lines = [_summary(account, strain)]
    for blamed in account.blamed:
        lines += [
            _SPELL_WORDS[spell.cause](spell, _when(spell, pitched_utc_s, zone), strain)
            for spell in account.spells[:SPELLS_MAX]
            if spell.cause is blamed
        ]
        lines += [_sign_words(sign, account) for sign in account.signs if sign.signature is blamed]
    if not account.blamed:
        lines.append("Nothing in its temperatures or its readings held it up.")
    rest = _remainder(account)
    return (*lines, rest) if rest else tuple(lines)


def _summary(account: Account, strain: Strain) -> str:
    high = account.usual_h + account.usual_spread_h
    low = account.usual_h**2 / high
    text = (
        f"It took {account.took_h:.0f} h to {account.share:.0%} of its drop; usual for"
        f" {strain.name} at {strain.expected.usual_c:g} °C is {account.usual_h:.0f} h"
        f" ({low:.0f} to {high:.0f} h)."
    )
    if account.temperature_h >= SMALL_H:
        text += f" Temperature cost {account.temperature_h:.0f} h of it."
    elif account.temperature_h <= -SMALL_H:
        text += f" Warmth gained it {-account.temperature_h:.0f} h."
    return text


def _remainder(account: Account) -> str:
    if abs(account.remainder_h) < SMALL_H:
        return ""
    way = "slower" if account.remainder_h > 0.0 else "quicker"
    text = f"Temperature aside it was {abs(account.remainder_h):.0f} h {way} than usual"
    if abs(account.remainder_h) <= account.usual_spread_h:
        return f"{text}, within what batches of this kind differ by."
    return f"{text}, more than batches of this kind differ by."


def _cold(spell: Spell, when: str, strain: Strain) -> str:
    return f"Cold cost {_hours(spell)} {when}: {_fell(spell)}, the pad at its limit{_held(spell)}."


def _weak(spell: Spell, when: str, strain: Strain) -> str:
    return (
        f"The pad was too weak {when} and cost {_hours(spell)}: {_fell(spell)}, the pad at its"
        f" limit{_held(spell)}. A better jacket, a stronger pad or a warmer place would mend it."
    )


def _warm_up(spell: Spell, when: str, strain: Strain) -> str:
    return f"It was pitched cold, at {spell.lowest_c:.1f} °C, and warming it cost {_hours(spell)}."


def _outage(spell: Spell, when: str, strain: Strain) -> str:
    return f"An outage cost {_hours(spell)} {when}: {_fell(spell)}."


def _probe(spell: Spell, when: str, strain: Strain) -> str:
    return (
        f"A probe that could not be read cost {_hours(spell)} {when}: heat stays off without one,"
        f" and {_fell(spell)}."
    )


def _trip(spell: Spell, when: str, strain: Strain) -> str:
    return f"A tripped protection cost {_hours(spell)} {when}: {_fell(spell)}."


def _rise(spell: Spell, when: str, strain: Strain) -> str:
    return f"Warming to a higher target cost {_hours(spell)} {when}."


def _not_heated(spell: Spell, when: str, strain: Strain) -> str:
    return (
        f"It was cold {when} though the pad was not at its limit, which cost {_hours(spell)}:"
        f" {_fell(spell)}. Look for a hold, a loose pad or a probe out of place."
    )


def _profile(spell: Spell, when: str, strain: Strain) -> str:
    asked = f"{spell.lowest_c:.3g} °C"
    if spell.target_c is not None and spell.target_c - spell.lowest_c > 0.5:
        asked = f"{spell.lowest_c:.3g} to {spell.target_c:.3g} °C"
    text = (
        f"The profile asked for {asked}, where {strain.expected.usual_c:g} °C is usual; that"
        f" cost {_hours(spell)}."
    )
    if spell.lowest_c < strain.expected.floor_c:
        text += f" Below {strain.expected.floor_c:g} °C this kind of yeast may not work at all."
    return text


_SPELL_WORDS: dict[Cause, Callable[[Spell, str, Strain], str]] = {
    Cause.COLD_NIGHT: _cold,
    Cause.WEAK_PAD: _weak,
    Cause.WARM_UP: _warm_up,
    Cause.OUTAGE: _outage,
    Cause.PROBE: _probe,
    Cause.TRIP: _trip,
    Cause.RISE: _rise,
    Cause.NOT_HEATED: _not_heated,
    Cause.PROFILE: _profile,
}


def _sign_words(sign: Sign, account: Account) -> str:
    likely = "It looks like" if sign.chance < 0.9 else "It looks very much like"
    what = f"{likely} {sign.signature.value}"
    if sign.short_plato >= 0.1:
        what += f": it stays {sign.short_plato:.1f} °P above the end expected"
    elif sign.lost_h >= SMALL_H:
        what += f": temperature aside, that cost about {sign.lost_h:.0f} h"
    if sign.signature is Signature.READING:
        what = "One reading rose against the one before it, which no ferment does"
    return f"{what}. {sign.test}"


def _hours(spell: Spell) -> str:
    return f"{spell.lost_h:.0f} h" if spell.lost_h >= 1.5 else f"{spell.lost_h:.1f} h"


def _fell(spell: Spell) -> str:
    wanted = "" if spell.target_c is None else f" of the {spell.target_c:.3g} °C asked for"
    garage = "" if spell.garage_c is None else f" while the garage was at {spell.garage_c:.1f} °C"
    return f"the beer was down to {spell.lowest_c:.1f} °C{wanted}{garage}"


def _held(spell: Spell) -> str:
    if spell.over_garage_k is None:
        return ""
    return f" (it held the beer {spell.over_garage_k:.0f} K above the garage)"


def _when(spell: Spell, pitched_utc_s: float, zone: tzinfo) -> str:
    """`in the night of 1 to 2 January`, or from when to when."""
    first = datetime.fromtimestamp(pitched_utc_s + spell.from_h * 3600.0, zone)
    last = datetime.fromtimestamp(pitched_utc_s + spell.to_h * 3600.0, zone)
    dusk, dawn = NIGHT
    middle = first + (last - first) / 2
    is_night = middle.hour >= dusk or middle.hour < dawn
    if is_night and last - first <= timedelta(hours=20):
        evening = middle - timedelta(hours=dawn)
        morning = evening + timedelta(days=1)
        month = "" if evening.month == morning.month else f" {evening:%B}"
        return f"in the night of {evening.day}{month} to {morning.day} {morning:%B}"
    return f"from {first.day} {first:%B %H:%M} to {last.day} {last:%B %H:%M}"
