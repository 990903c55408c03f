"""Installs barmkeep on a Debian or Raspberry Pi OS, upgrades it, and takes it away again.

    sudo python3 systemd/install.py --dry-run             say what would be done
    sudo python3 systemd/install.py                       install or upgrade; may be run again
    sudo python3 systemd/install.py --chamber garage-left also prepare a chamber of that name
    sudo python3 systemd/install.py --remove              take the programs away, keep the records
    sudo python3 systemd/install.py --remove --records    take everything away

It needs the standard library only. It never overwrites settings, passwords or records, and starts
no chamber: a person does that, after `barmkeep check`.
"""

from __future__ import annotations

import argparse
import os
import re
import subprocess
import sys
import tomllib
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent)]

from steps.broker import (  # noqa: E402
    BROKER_FILES,
    BROKER_PASSWORDS,
    DASHBOARD,
    SETTINGS,
    put_broker,
    put_settings,
)
from steps.hand import (  # noqa: E402
    Hand,
    InstallError,
    group_exists,
    has_other_time_service,
    is_running,
    running_chambers,
    user_exists,
)
from steps.program import HOME, put_program  # noqa: E402

from controller.boot_lines import CONFIG_FILES, missing_lines  # noqa: E402

RECORDS = (Path("/var/lib/barmkeep"), Path("/var/lib/barmkeep-dashboard"))
UNITS = Path("/etc/systemd/system")
PAGES = "barmkeep-dashboard.service"
COMMANDS = ("barmkeep", "barmkeep-dashboard")
CHAMBER_NAME = re.compile(r"[a-z0-9]([a-z0-9-]{0,30}[a-z0-9])?")
USERS = Path("/etc/sysusers.d/barmkeep.conf")
# Why: it is there only where the installer made the group, so it also says whose the group is.
USERS_OF_PINS = Path("/etc/sysusers.d/barmkeep-gpio.conf")
UNIT_FILES = (
    ("barmkeep@.service", UNITS / "barmkeep@.service"),
    ("barmkeep-dashboard.service", UNITS / PAGES),
    ("watchdog.conf", Path("/etc/systemd/system.conf.d/barmkeep.conf")),
    ("journald.conf", Path("/etc/systemd/journald.conf.d/barmkeep.conf")),
)
FILES = (("sysusers.conf", USERS), *UNIT_FILES)
GPIO_FILES = (
    ("sysusers-gpio.conf", USERS_OF_PINS),
    ("gpio.rules", Path("/etc/udev/rules.d/60-barmkeep-gpio.rules")),
)
CLOCK_FILES = (
    ("other-time-service.conf", UNITS / "barmkeep@.service.d" / "other-time-service.conf"),
)


def install(hand: Hand, chambers: list[str], wheels: Path | None) -> None:
    """Everything, in an order in which what fails first has changed least."""
    put_program(hand, wheels)
    is_new = put(hand, FILES)
    if not group_exists("gpio") or USERS_OF_PINS.exists():
        is_new |= put(hand, GPIO_FILES)
    if has_other_time_service():
        is_new |= put(hand, CLOCK_FILES)
    if not all(map(user_exists, COMMANDS)) or not group_exists("gpio"):
        hand.run("systemd-sysusers")
    for command in COMMANDS:
        hand.link(Path("/usr/local/bin") / command, HOME / "bin" / command)
    before = hand.changes
    has_broker = put_broker(hand)
    put_settings(hand, DASHBOARD, "dashboard.example.toml", has_broker)
    for chamber in chambers:
        put_settings(hand, chamber, "chamber.example.toml", has_broker)
    if has_broker and hand.changes > before:
        hand.run("systemctl", "restart", "mosquitto.service", quiet=True)
    if is_new and is_running():
        hand.run("systemctl", "daemon-reexec")
        hand.run("udevadm", "control", "--reload", quiet=True)
        hand.run("systemctl", "restart", "systemd-journald.service", quiet=True)
    if not (UNITS / "multi-user.target.wants" / PAGES).is_symlink():
        hand.run("systemctl", "enable", PAGES)
    if hand.changes and is_running():
        hand.run("systemctl", "restart", PAGES)


def put(hand: Hand, files: tuple[tuple[str, Path], ...]) -> bool:
    """Write each file; whether any was new."""
    new = [target for name, target in files if hand.write(target, (HERE / name).read_text())]
    return bool(new)


def remove(hand: Hand, records: bool) -> None:
    """Take away what `install` put here; settings, passwords and records only when asked."""
    for unit in (*running_chambers(), *([PAGES] if (UNITS / PAGES).exists() else [])):
        hand.run("systemctl", "stop", unit, quiet=True)
    for path in (*UNITS.glob("*.wants/barmkeep@*.service"), *UNITS.glob(f"*.wants/{PAGES}")):
        hand.remove(path)
    for _, target in (*UNIT_FILES, *GPIO_FILES[1:], *CLOCK_FILES):
        hand.remove(target)
    for command in COMMANDS:
        hand.remove(Path("/usr/local/bin") / command)
    hand.remove(HOME)
    if records:
        for _, target in BROKER_FILES:
            hand.remove(target)
        for folder in (BROKER_PASSWORDS, SETTINGS, *RECORDS, Path("/run/barmkeep")):
            hand.remove(folder)
        for user in filter(user_exists, COMMANDS):
            hand.run("userdel", user, quiet=True)
        if USERS_OF_PINS.exists() and group_exists("gpio"):
            hand.run("groupdel", "gpio", quiet=True)
        hand.remove(USERS)
        hand.remove(USERS_OF_PINS)
    if hand.changes and is_running():
        hand.run("systemctl", "daemon-reexec")
        hand.run("systemctl", "try-restart", "mosquitto.service", quiet=True)


def boot_lines(hand: Hand) -> None:
    """What to add to config.txt. A person does it: a wrong line keeps a machine from starting."""
    path = next((path for path in CONFIG_FILES if path.is_file()), None)
    if path is None:
        hand.say("note", "no config.txt here: this is no Raspberry Pi")
        return
    gpios = []
    for file in SETTINGS.glob("*.toml"):
        try:
            relays = tomllib.loads(file.read_text()).get("relays", {})
        except (OSError, tomllib.TOMLDecodeError):
            continue
        gpios += [relays[key] for key in ("heat_gpio", "fan_gpio", "enable_gpio") if key in relays]
    for line in missing_lines(path.read_text(errors="replace"), gpios):
        hand.say("add", f"to {path}, under [all]:  {line.text:32} so that {line.meaning}")


def main() -> int:
    """Reads the command line and does it. Its exit code: 0, or 2 when a person must act."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--dry-run", action="store_true", help="only say what would be done")
    parser.add_argument(
        "--chamber",
        action="append",
        default=[],
        metavar="NAME",
        help="prepare settings and a broker's user for it; may be repeated",
    )
    parser.add_argument(
        "--wheels",
        type=Path,
        metavar="DIR",
        help="take every package from this folder, without any network",
    )
    parser.add_argument("--remove", action="store_true", help="take the programs away")
    parser.add_argument(
        "--records",
        action="store_true",
        help="with --remove: settings, passwords, journals and the store as well",
    )
    asked = parser.parse_args()
    wrong = [
        name for name in asked.chamber if not CHAMBER_NAME.fullmatch(name) or name == DASHBOARD
    ]
    if wrong:
        parser.error(f"{wrong[0]!r} cannot be a chamber's name: small letters, digits and hyphens")
    if asked.records and not asked.remove:
        parser.error("--records goes with --remove")
    if os.geteuid() != 0 and not asked.dry_run:
        parser.error("this changes the system: run it with sudo, or look first with --dry-run")
    hand = Hand(asked.dry_run)
    try:
        if asked.remove:
            remove(hand, asked.records)
        else:
            install(hand, asked.chamber, asked.wheels)
            boot_lines(hand)
    except (InstallError, OSError, subprocess.CalledProcessError) as error:
        print(f"{error}", file=sys.stderr)
        return 2
    hand.say("done", f"{hand.changes} changes" + (" would be made" if asked.dry_run else ""))
    return 0


if __name__ == "__main__":
    sys.exit(main())
