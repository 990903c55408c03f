"""Errors that say what is wrong and what to do about it, sorted by who must act.

Trouble that is part of the job (a lost probe, an absent broker) is a value, never an exception;
what is here stops a command. Nothing in this module decides anything.
"""

from __future__ import annotations


class BarmkeepError(Exception):
    """Something a person must put right.

    Args:
        what: one sentence that says what is wrong, with the value that is wrong.
        remedy: one sentence that says what to do now.
    """

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(f"{what} {remedy}")
        self.what = what
        self.remedy = remedy


class SettingsError(BarmkeepError, ValueError):
    """A settings file, a profile or a command line is wrong. Its writer must act."""


class WiringError(BarmkeepError, OSError):
    """A probe, a relay or a pin is not as the settings say. Whoever wired it must act."""


class BrokerError(BarmkeepError, ConnectionError):
    """A broker cannot be used as the settings say. Whoever runs it must act."""


class DiskError(BarmkeepError, OSError):
    """A file or a folder cannot be used. Whoever looks after the machine must act."""


class WireError(BarmkeepError, ValueError):
    """A message is not in the published language. The program that sent it must be put right."""
