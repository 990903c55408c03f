"""Makes what the guest is made of: a kernel with a simulated GPIO chip, a clean Debian, packages.

Each part is made once and kept in a folder; delete the folder to begin anew.

It needs Debian 12 on amd64, root, a network for apt, and: mmdebstrap qemu-system-x86 gcc make
busybox-static. Nothing of it is part of the normal test run.
"""

from __future__ import annotations

import hashlib
import lzma
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
HERE = Path(__file__).resolve().parent
PACKAGES = "systemd,systemd-sysv,udev,kmod,python3,python3-venv,procps,mosquitto,ca-certificates"
SOURCES = ("pyproject.toml", "README.md", "controller", "dashboard", "systemd")
# Why: what the kernel needs to reach its disk, and the watchdog, which systemd opens once at start.
EARLY_MODULES = ("virtio_pci", "virtio_blk", "crc32c_generic", "ext4", "i6300esb")
DISK_MB = 1500
XZ_MAGIC = b"\xfd7zXZ\x00"
NEEDED = ("mmdebstrap", "qemu-system-x86_64", "gcc", "make", "cpio", "mke2fs", "apt-get", "dpkg")


def run(*command: object, **more: object) -> str:
    """Runs a program and gives what it said; ends with all of it when it fails."""
    words = [str(word) for word in command]
    done = subprocess.run(words, capture_output=True, text=True, check=False, **more)  # type: ignore[call-overload]
    if done.returncode:
        raise SystemExit(f"`{' '.join(words)}` failed:\n{done.stdout[-3000:]}{done.stderr[-3000:]}")
    return str(done.stdout)


def missing() -> list[str]:
    """Programs that are not here."""
    return [name for name in NEEDED if not shutil.which(name)]


def kernel_release() -> str:
    """The newest kernel apt knows, as in 6.1.0-56-amd64."""
    found = re.search(
        r"Depends: linux-image-(\d\S+)", run("apt-cache", "depends", "linux-image-amd64")
    )
    assert found is not None, "apt knows no kernel: run apt-get update"
    return found[1]


def kernel(folder: Path) -> Path:
    """Kernel, modules and headers, unpacked, with the simulated chip built for it."""
    place = folder / "kernel"
    if (place / "gpio-sim.ko").exists():
        return place
    release = kernel_release()
    depends = run("apt-cache", "depends", f"linux-headers-{release}")
    headers = re.findall(r"Depends: (linux-(?:headers|kbuild)\S+)", depends)
    series = ".".join(release.split(".")[:2])
    wanted = [f"linux-image-{release}", f"linux-headers-{release}", *headers]
    packages = folder / "packages"
    packages.mkdir(parents=True, exist_ok=True)
    run("apt-get", "download", *wanted, f"linux-source-{series}", cwd=packages)
    for package in packages.glob("linux-*.deb"):
        run("dpkg", "-x", package, place)
    build = place / "build"
    _sources(place, series, build)
    tree = place / "usr" / "src" / f"linux-headers-{release}"
    _relocated(place, tree, release)
    run("make", "-C", tree, f"M={build}", "modules")
    shutil.copy(build / "gpio-sim.ko", place / "gpio-sim.ko")
    (place / "vmlinux").write_bytes(
        _uncompressed((place / "boot" / f"vmlinuz-{release}").read_bytes())
    )
    (place / "release").write_text(release)
    return place


def _sources(place: Path, series: str, build: Path) -> None:
    """The chip's three files, joined into one module that keeps an output when it is released.

    Debian builds no simulated chip. Released lines keep their level on Raspberry Pi kernels; a
    parameter of that name says so here too, and `barmkeep check` reads it.
    """
    whole = place / "usr" / "src" / f"linux-source-{series}.tar.xz"
    inner = f"linux-source-{series}"
    parts = ("drivers/gpio/gpio-sim.c", "kernel/irq/irq_sim.c", "drivers/gpio/gpiolib.h")
    build.mkdir(exist_ok=True)
    run("tar", "-xJf", whole, "-C", build, "--strip-components=1", *[f"{inner}/{p}" for p in parts])
    chip = (build / parts[0]).read_text()
    free = "static void gpio_sim_free(struct gpio_chip *gc, unsigned int offset)\n{\n"
    value = "\t__assign_bit(offset, chip->value_map, !!test_bit(offset, chip->pull_map));"
    assert free in chip and chip.count(value) == 1
    chip = chip.replace(
        free,
        "static bool persist_gpio_outputs = true;\n"
        "module_param(persist_gpio_outputs, bool, 0644);\n\n" + free,
    )
    chip = chip.replace(
        value, f"\tif (!persist_gpio_outputs || test_bit(offset, chip->direction_map))\n\t{value}"
    )
    (build / "sim.c").write_text(chip)
    irq = (build / parts[1]).read_text()
    irq = irq.replace("irq_to_desc(irqnum)", "irq_data_to_desc(irq_get_irq_data(irqnum))")
    (build / "irq.c").write_text(re.sub(r"^EXPORT_SYMBOL_GPL.*$", "", irq, flags=re.M))
    shutil.copy(build / parts[2], build / "gpiolib.h")
    (build / "Makefile").write_text("obj-m := gpio-sim.o\ngpio-sim-y := sim.o irq.o\n")


def _relocated(place: Path, tree: Path, release: str) -> None:
    """The headers name each other by paths as installed; here they lie elsewhere."""
    common = tree.with_name(tree.name.replace("-amd64", "-common"))
    makefile = tree / "Makefile"
    makefile.write_text(makefile.read_text().replace("/usr/src/", f"{place}/usr/src/"))
    series = ".".join(release.split(".")[:2])
    for name in ("scripts", "tools"):
        link = tree / name
        if link.is_symlink():
            link.unlink()
            link.symlink_to(place / "usr" / "lib" / f"linux-kbuild-{series}" / name)
    assert common.exists()


def _uncompressed(image: bytes) -> bytes:
    """The kernel inside a compressed image: starting it whole saves the guest seconds of work."""
    start = image.index(XZ_MAGIC)
    return lzma.LZMADecompressor().decompress(image[start:])


def debian(folder: Path) -> Path:
    """A clean Debian as a tar file."""
    tar = folder / "debian.tar"
    if not tar.exists():
        run("mmdebstrap", "--variant=minbase", f"--include={PACKAGES}", "bookworm", tar)
    return tar


def wheels(folder: Path) -> Path:
    """Every package the project needs, for an installation without a network."""
    wanted = hashlib.sha256((ROOT / "pyproject.toml").read_bytes()).hexdigest()[:12]
    place = folder / f"wheels-{wanted}"
    if not place.exists():
        run(sys.executable, "-m", "pip", "wheel", "-q", "--wheel-dir", place, f"{ROOT}[pi]",
            "setuptools>=77", "wheel", cwd=folder)  # fmt: skip
        for built in place.glob("barmkeep-*.whl"):
            built.unlink()
    return place


@contextmanager
def entered(folder: Path, name: str) -> Iterator[Path]:
    """A fresh copy of the clean Debian with the project's sources in /src, and /proc mounted."""
    place = folder / name
    if place.exists():
        shutil.rmtree(place)
    place.mkdir(parents=True)
    run("tar", "-xf", debian(folder), "-C", place)
    for part in SOURCES:
        if (ROOT / part).is_dir():
            shutil.copytree(
                ROOT / part, place / "src" / part, ignore=shutil.ignore_patterns("__pycache__")
            )
        else:
            (place / "src").mkdir(exist_ok=True)
            shutil.copy(ROOT / part, place / "src" / part)
    shutil.copytree(wheels(folder), place / "wheels")
    run("mount", "-t", "proc", "proc", place / "proc")
    try:
        yield place
    finally:
        run("umount", place / "proc")
