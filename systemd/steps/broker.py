"""The broker's files, the settings files from their examples, and a user at the broker for each.

A password is made here once, kept in a file only root and systemd read, and given to the broker
hashed. Settings and passwords that exist are never touched.
"""

from __future__ import annotations

import re
import secrets
import subprocess
import tempfile
from pathlib import Path

from steps.hand import Hand

HERE = Path(__file__).resolve().parents[1]
SETTINGS = Path("/etc/barmkeep")
BROKER = Path("/etc/mosquitto")
BROKER_PASSWORDS = BROKER / "barmkeep.passwords"
BROKER_FILES = (
    ("broker.conf", BROKER / "conf.d" / "barmkeep.conf"),
    ("broker.acl", BROKER / "barmkeep.acl"),
)
DASHBOARD = "dashboard"


def put_broker(hand: Hand) -> bool:
    """The broker's files, unless somebody has already configured it for something else."""
    if not BROKER.is_dir():
        hand.say("note", "no broker here; for one on this machine: apt-get install mosquitto")
        return False
    ours = BROKER_FILES[0][1]
    others = [path for path in ours.parent.glob("*.conf") if path != ours]
    if others:
        hand.say("note", f"the broker is already configured ({others[0]}); left as it is")
        hand.say("note", f"what barmkeep needs of it is in {HERE / 'broker.conf'} and broker.acl")
        return False
    if not BROKER_PASSWORDS.exists():
        hand.write(BROKER_PASSWORDS, "", 0o640, "mosquitto")
    hand.write(ours, (HERE / "broker.conf").read_text())
    hand.write(BROKER_FILES[1][1], (HERE / "broker.acl").read_text(), 0o640, "mosquitto")
    return True


def put_settings(hand: Hand, name: str, example: str, has_broker: bool) -> None:
    """The settings file of that name from the example, and its user at the broker."""
    target = SETTINGS / f"{name}.toml"
    if has_broker:
        put_password(hand, name)
    if target.exists():
        hand.say("kept", target)
        return
    text = (HERE / example).read_text()
    text = text.replace('name = "garage-left"', f'name = "{name}"', 1)
    text = text.replace('user = "garage-left"', f'user = "{name}"', 1)
    if name != DASHBOARD:
        password = f"/run/credentials/barmkeep@{name}.service/broker-password"
        text = text.replace("/etc/barmkeep/broker-password", password)
    if has_broker:
        text = re.sub(r"^# (user|password_file) =", r"\1 =", text, flags=re.M)
    hand.write(target, text)


def put_password(hand: Hand, user: str) -> None:
    """A password only the machine knows: in a file for systemd, hashed for the broker."""
    kept = SETTINGS / f"{user}.password"
    known = BROKER_PASSWORDS.read_text() if BROKER_PASSWORDS.exists() else ""
    if kept.exists() and f"\n{user}:" in f"\n{known}":
        hand.say("kept", kept)
        return
    password = kept.read_text().strip() if kept.exists() else secrets.token_urlsafe(24)
    hand.write(kept, password + "\n", 0o600)
    if hand.does(f"give the broker's user {user} that password"):
        with tempfile.NamedTemporaryFile("w+") as plain:
            plain.write(f"{user}:{password}\n")
            plain.flush()
            subprocess.run(["mosquitto_passwd", "-U", plain.name], check=True)  # noqa: S603, S607
            hashed = Path(plain.name).read_text()
        others = [line for line in known.splitlines() if not line.startswith(f"{user}:")]
        hand.write(BROKER_PASSWORDS, "\n".join([*others, hashed]), 0o640, "mosquitto")
