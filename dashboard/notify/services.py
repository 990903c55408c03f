"""Messages through the library Apprise: mail, push and chat services. The extra `notify`.

The library is loaded only when a target needs it. What it logs may hold parts of an address, so it
is quietened and its reasons are cleaned before they are shown.
"""

from __future__ import annotations

import importlib.util
import logging
import re
from typing import Any
from urllib.parse import urlsplit

from controller.errors import SettingsError
from dashboard.notify.news import Message
from dashboard.notify.webhook import SendError, of_status

REASON_CHARACTERS_MAX = 200  # Why: a line on the page.
SECRET_CHARACTERS_MIN = 4  # Why: a shorter piece of an address is a word or a port.
_KINDS = {"high": "failure", "medium": "warning", "low": "info"}
_STATUS = re.compile(r"\berror=(\d{3})\b")
_ADDRESS = re.compile(r"\S+://\S+|\S+@\S+")


def check(where: str, address: str) -> None:
    """Refuse an address the library cannot use.

    Raises:
        SettingsError: the library is not installed, or knows no such kind of address. Says `where`,
            never the address.
    """
    if importlib.util.find_spec("apprise") is None:
        raise SettingsError(
            f"{where} needs the library for services, which is not installed.",
            "Install it: pip install 'barmkeep[notify]'; or use an https:// address.",
        )
    if _library().Apprise.instantiate(address, suppress_exceptions=True) is None:
        scheme = urlsplit(address).scheme
        raise SettingsError(
            f"{where}: {scheme}:// is no service that is known, or its address is not complete.",
            "Compare it with the library's list of services.",
        )


def send(address: str, message: Message) -> None:
    """Send a message through the service of this address.

    Raises:
        SendError: it did not arrive.
    """
    library = _library()
    sender = library.Apprise()
    if not sender.add(address):
        raise SendError("The library cannot use this address.", is_permanent=True)
    body = f"{message.text}\n{message.link}" if message.link else message.text
    try:
        result = sender.notify(
            body=body,
            title=message.subject,
            notify_type=_KINDS[message.priority],
            body_format="text",
        )
    except Exception as error:
        raise SendError(f"The library failed: {type(error).__name__}.") from None
    # The result is an object that is always there; its status says whether the message arrived.
    if int(result.status) != 0:
        raise _error_of(address, [entry.message for entry in result.logs()])


def _library() -> Any:
    import apprise

    logger = logging.getLogger("apprise")
    logger.propagate = False
    if not logger.handlers:
        logger.addHandler(logging.NullHandler())
    return apprise


def _error_of(address: str, reasons: list[str]) -> SendError:
    said = " ".join(reasons[-2:])
    found = _STATUS.search(said)
    if found:
        return of_status(int(found[1]))
    return SendError(f"The service did not take it. {cleaned(said, address)}".strip())


def cleaned(said: str, address: str) -> str:
    """What the library said, without anything that looks like an address or is a part of ours."""
    said = _ADDRESS.sub("…", said)
    for piece in re.split(r"[/:@?&=#]+", address):
        if len(piece) >= SECRET_CHARACTERS_MIN:
            said = said.replace(piece, "…")
    return " ".join(said.split())[:REASON_CHARACTERS_MAX]
