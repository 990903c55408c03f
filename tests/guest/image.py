"""The guest's disk: a clean Debian, the project put there by its own installer, and what stands in
for a board: a probe's file, a board's revision, and an agent that does what the tests say."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

from tests.guest.workshop import DISK_MB, EARLY_MODULES, HERE, entered, kernel, run

CHAMBER = "garage-left"
ROM = "28-0316a2791aff"
GPIO = 17
SETTINGS = f"""
[chamber]
name = "{CHAMBER}"
tick_s = 5
[vessel]
volume_l = 20
pad_w = 60
[probes]
beer = "{ROM}"
folder = "/run/bus"
[relays]
heat_gpio = {GPIO}
[batch]
name = "guest"
target_c = 35
[journal]
folder = "/var/lib/barmkeep"
size_mb_max = 20
[broker]
user = "{CHAMBER}"
password_file = "/run/credentials/barmkeep@{CHAMBER}.service/broker-password"
"""
# Why: the pin library asks for a board's revision; this one is a Pi 4.
REVISION = "Hardware : BCM2711\nRevision : c03115\nModel : Raspberry Pi 4 Model B Rev 1.5\n"
BOARD = """[Service]
BindReadOnlyPaths=/opt/guest/cpuinfo:/proc/cpuinfo
"""
AGENT = """[Unit]
DefaultDependencies=no
After=local-fs.target
[Service]
ExecStart=/usr/bin/python3 -I /opt/guest/agent.py
Restart=always
[Install]
WantedBy=multi-user.target
"""
# Why: the line's number is the board's, the label is what the stop step looks for.
CHIP = """#!/bin/sh
set -e
insmod /opt/guest/gpio-sim.ko
mount -t configfs configfs /sys/kernel/config 2>/dev/null || true
chip=/sys/kernel/config/gpio-sim/pi
mkdir -p $chip/bank0
echo 54 > $chip/bank0/num_lines
echo pinctrl-bcm2835 > $chip/bank0/label
echo 1 > $chip/live
mkdir -p /run/bus
"""
CHIP_UNIT = """[Unit]
DefaultDependencies=no
After=local-fs.target systemd-udevd.service
Before=multi-user.target
[Service]
Type=oneshot
RemainAfterExit=yes
ExecStart=/opt/guest/chip
"""
INIT = """#!/bin/busybox sh
/bin/busybox mkdir -p /proc /sys /dev /new
/bin/busybox mount -t devtmpfs dev /dev
for each in $(/bin/busybox cat /modules/order); do /bin/busybox insmod /modules/$each; done
/bin/busybox mount -t ext4 /dev/vda /new
/bin/busybox mount --move /dev /new/dev
exec /bin/busybox switch_root /new /sbin/init
"""


def image(folder: Path) -> tuple[Path, Path]:
    """The disk and the initial memory disk, made anew from the project as it is now."""
    built = kernel(folder)
    disk, early = folder / "disk.img", folder / "early.img"
    with entered(folder, "root") as place:
        run("chroot", place, "python3", "/src/systemd/install.py", "--wheels", "/wheels",
            "--chamber", CHAMBER)  # fmt: skip
        _furnish(place, built)
        _early(place, built, early)
    shutil.rmtree(place / "wheels")
    disk.unlink(missing_ok=True)
    run("mke2fs", "-q", "-t", "ext4", "-d", place, disk, f"{DISK_MB}M")
    return disk, early


def _furnish(place: Path, built: Path) -> None:
    release = (built / "release").read_text()
    modules = place / "lib" / "modules" / release
    shutil.copytree(built / "lib" / "modules" / release, modules, symlinks=True,
                    ignore=shutil.ignore_patterns("sound", "gpu", "wireless", "media", "build",
                                                  "source", "infiniband", "ethernet", "staging",
                                                  "scsi", "usb", "iio", "net"))  # fmt: skip
    run("chroot", place, "depmod", release)
    guest = place / "opt" / "guest"
    guest.mkdir(parents=True)
    shutil.copy(built / "gpio-sim.ko", guest / "gpio-sim.ko")
    shutil.copy(HERE / "agent.py", guest / "agent.py")
    (guest / "cpuinfo").write_text(REVISION)
    (guest / "chip").write_text(CHIP)
    (guest / "chip").chmod(0o755)
    units = place / "etc" / "systemd" / "system"
    (units / "barmkeep@.service.d").mkdir()
    (units / "barmkeep@.service.d" / "board.conf").write_text(BOARD)
    (units / "agent.service").write_text(AGENT)
    (units / "chip.service").write_text(CHIP_UNIT)
    wants = units / "multi-user.target.wants"
    wants.mkdir(exist_ok=True)
    for unit, source in (
        ("agent.service", "agent.service"),
        ("chip.service", "chip.service"),
        (f"barmkeep@{CHAMBER}.service", "barmkeep@.service"),
    ):
        (wants / unit).symlink_to(f"/etc/systemd/system/{source}")
    for masked in ("getty@tty1.service", "serial-getty@ttyS0.service", "apt-daily.timer",
                   "apt-daily-upgrade.timer", "systemd-timesyncd.service"):  # fmt: skip
        (units / masked).symlink_to("/dev/null")
    (units / "barmkeep@.service.d" / "after.conf").write_text("[Unit]\nAfter=chip.service\n")
    (place / "etc" / "barmkeep" / f"{CHAMBER}.toml").write_text(SETTINGS)
    (place / "etc" / "hosts").write_text("127.0.0.1 localhost guest\n")
    (place / "etc" / "machine-id").write_text("")


def _early(root: Path, built: Path, early: Path) -> None:
    """A shell, the modules in the order they need each other, and the way to the disk."""
    release = (built / "release").read_text()
    place = early.with_suffix("")
    if place.exists():
        shutil.rmtree(place)
    (place / "modules").mkdir(parents=True)
    (place / "bin").mkdir()
    shutil.copy(shutil.which("busybox") or "/bin/busybox", place / "bin" / "busybox")
    order: list[str] = []
    for name in EARLY_MODULES:
        shown = run("chroot", root, "modprobe", "-S", release, "--show-depends", name)
        for line in shown.splitlines():
            path = Path(line.split()[1])
            if line.startswith("insmod") and path.name not in order:
                order.append(path.name)
                shutil.copy(root / path.relative_to("/"), place / "modules" / path.name)
    (place / "modules" / "order").write_text("\n".join(order) + "\n")
    (place / "init").write_text(INIT)
    (place / "init").chmod(0o755)
    listed = "\n".join(str(path.relative_to(place)) for path in sorted(place.rglob("*")))
    packed = subprocess.run(
        ["cpio", "-o", "-H", "newc", "--quiet"],
        input=listed.encode(), cwd=place, capture_output=True, check=True,
    )  # fmt: skip
    early.write_bytes(packed.stdout)
