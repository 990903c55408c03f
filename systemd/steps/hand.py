"""The installer's hand: it does things or, when dry, only says them; and what it sees of a system.

Everything it says is one line. What is to be done is decided by the steps.
"""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

# Why: these do not exist before somebody puts a file there, so an empty one is taken away again.
OWN_FOLDERS = ("sysusers.d", "system.conf.d", "journald.conf.d", "barmkeep@.service.d")


class InstallError(Exception):
    """It cannot go on: what is wrong and what to do."""


class Hand:
    """Does things, or with `is_dry` only says them. Everything it says is one line."""

    def __init__(self, is_dry: bool) -> None:
        self.is_dry = is_dry
        self.changes = 0

    def say(self, word: str, text: object) -> None:
        print(f"{word:8} {text}", flush=True)

    def does(self, text: object) -> bool:
        """Announce a change; whether to make it."""
        self.changes += 1
        self.say("would" if self.is_dry else "doing", text)
        return not self.is_dry

    def run(self, *command: object, quiet: bool = False) -> None:
        """Run a program; its failure ends everything, unless `quiet`."""
        words = [str(word) for word in command]
        if not self.does(" ".join(words)):
            return
        done = subprocess.run(words, capture_output=True, text=True)  # noqa: S603
        if done.returncode and not quiet:
            raise InstallError(f"`{' '.join(words)}` failed:\n{done.stdout}{done.stderr}")

    def write(self, target: Path, text: str, mode: int = 0o644, group: str = "root") -> bool:
        """Make the file say this; False when it already did."""
        if target.exists() and target.read_text() == text:
            self.say("as it is", target)
            return False
        if self.does(f"write {target}"):
            target.parent.mkdir(parents=True, exist_ok=True)
            new = target.with_name(target.name + ".new")
            new.touch(mode=0o600)
            new.write_text(text)
            shutil.chown(new, "root", group)
            new.chmod(mode)
            new.replace(target)
        return True

    def link(self, target: Path, to: Path) -> None:
        """Make `target` a link to `to`."""
        if target.is_symlink() and target.readlink() == to:
            self.say("as it is", target)
        elif self.does(f"link {target} -> {to}"):
            target.unlink(missing_ok=True)
            target.symlink_to(to)

    def remove(self, target: Path) -> None:
        """Take a file, link or folder away, and then its folder if it was ours and is empty."""
        if not (target.exists() or target.is_symlink()):
            return
        if self.does(f"remove {target}"):
            if target.is_dir() and not target.is_symlink():
                shutil.rmtree(target)
            else:
                target.unlink()
            if target.parent.name in OWN_FOLDERS and not any(target.parent.iterdir()):
                target.parent.rmdir()


def running_chambers() -> list[str]:
    """The chambers' units that run now."""
    if not is_running():
        return []
    asked = ["systemctl", "list-units", "--plain", "--no-legend", "barmkeep@*.service"]
    listed = subprocess.run(asked, capture_output=True, text=True)  # noqa: S603
    return [line.split()[0] for line in listed.stdout.splitlines() if line.strip()]


def is_running() -> bool:
    """Whether this machine was started by systemd; false in a chroot."""
    return Path("/run/systemd/system").is_dir()


def user_exists(name: str) -> bool:
    return any(line.startswith(f"{name}:") for line in Path("/etc/passwd").read_text().splitlines())


def group_exists(name: str) -> bool:
    return any(line.startswith(f"{name}:") for line in Path("/etc/group").read_text().splitlines())


def has_other_time_service() -> bool:
    """Whether something other than systemd-timesyncd sets the clock here."""
    return any(shutil.which(each, path="/usr/sbin:/usr/bin") for each in ("chronyd", "ntpd"))
