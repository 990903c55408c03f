"""The installer in a clean Debian: once, again, taken away keeping the records, and with them."""

from __future__ import annotations

import subprocess
from pathlib import Path

from tests.guest.workshop import entered

OURS = ("src", "wheels", "proc", "tmp")


def tried(folder: Path) -> str:
    """What was seen.

    Raises:
        AssertionError: something was changed that should not be, or was left.
    """
    with entered(folder, "clean") as place:
        before = _seen(place)
        first = _installed(place, "--chamber", "garage-left")
        password = (place / "etc/barmkeep/garage-left.password").read_text()
        settings = place / "etc/barmkeep/garage-left.toml"
        settings.write_text(settings.read_text() + "# mine\n")
        again = _installed(place, "--chamber", "garage-left")
        assert again == 0, again
        kept = _installed(place, "--remove")
        assert settings.read_text().endswith("# mine\n")
        assert not (place / "opt/barmkeep").exists()
        back = _installed(place, "--chamber", "garage-left")
        assert (place / "etc/barmkeep/garage-left.password").read_text() == password
        assert settings.read_text().endswith("# mine\n")
        (place / "var/lib/barmkeep/garage-left").mkdir(parents=True)
        gone = _installed(place, "--remove", "--records")
        after = _seen(place)
        assert after == before, sorted(after ^ before)
    return (
        f"{first} changes; again 0; removed {kept}, settings kept; back {back}, nothing changed; "
        f"removed with records {gone}, and {len(after)} files, users and groups are as before"
    )


def _installed(place: Path, *words: str) -> int:
    """The number of changes the installer says it made."""
    command = ["chroot", place, "python3", "/src/systemd/install.py", "--wheels", "/wheels", *words]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return int(done.stdout.splitlines()[-1].split()[1])


def _seen(place: Path) -> set[str]:
    """Every path, and every line of the users and groups; passwords' backups apart."""
    paths = {
        str(path.relative_to(place))
        for top in place.iterdir()
        if top.name not in OURS
        for path in (top, *top.rglob("*"))
    }
    accounts = {
        f"{name}: {line}"
        for name in ("passwd", "group")
        for line in (place / "etc" / name).read_text().splitlines()
    }
    return {path for path in paths if not path.endswith("-")} | accounts
