"""The one error the dashboard adds to the shared ones: what a person typed cannot be kept.

Its reader is whoever filled in the form; files, brokers and settings have their own errors.
"""

from __future__ import annotations

from controller.errors import BarmkeepError


class EntryError(BarmkeepError, ValueError):
    """Something typed by a person cannot be kept. Whoever typed it must act."""
