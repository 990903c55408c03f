"""The account of a batch in the reader's units: why it took as long as it did, and its hours.

Pure. The sentences are the brewing knowledge's own; here they only change their units.
"""

from __future__ import annotations

from dashboard.facts import Batch
from dashboard.fermentation.account.account import Account
from dashboard.fermentation.account.sentences import in_words
from dashboard.fermentation.strains import strain
from dashboard.sheet import ahead, spans, words
from dashboard.sheet.units import Units


def told(account: Account | None, batch: Batch, units: Units) -> tuple[str, ...]:
    """The account in sentences; empty while nothing was measured."""
    if account is None:
        return ()
    zone = words.zone_of(batch.pitched_utc_s, units.zone)
    lines = in_words(account, strain(batch.strain), batch.pitched_utc_s, zone)
    return tuple(ahead.said(each, units) for each in lines)


def parts(account: Account | None) -> tuple[tuple[str, str], ...]:
    """The hours it took, and what they were made of."""
    if account is None:
        return ()
    rows = (
        ("It took", account.took_h),
        ("Usual for its kind, at its usual temperature", account.usual_h),
        ("Temperature cost", account.temperature_h),
        ("What temperature does not explain", account.remainder_h),
    )
    return tuple((name, f"{spans.signed(hours)} h") for name, hours in rows)
