"""Real-format w1_slave files for the tests of the probes."""

from pathlib import Path

from controller.edge.probes import crc8

BEER, GARAGE, AIR, PAD = (f"28-0000000000{digit}1" for digit in "bead")


def frame_of(temperature_c: float, config: int = 0x7F) -> bytes:
    """The nine bytes a DS18B20 gives at a temperature (data sheet, figure 4)."""
    count = round(temperature_c * 16) & 0xFFFF
    eight = bytes([count & 0xFF, count >> 8, 0x4B, 0x46, config, 0xFF, 0x0C, 0x10])
    return eight + bytes([crc8(eight)])


def text_of(frame: bytes, verdict: str = "YES", t: int = 0) -> str:
    """What the kernel's w1_slave shows for nine bytes."""
    hexes = frame.hex(" ")
    return f"{hexes} : crc={frame[8]:02x} {verdict}\n{hexes} t={t}\n"


def place(folder: Path, rom: str, text: str) -> Path:
    """Put a probe on the bus."""
    (folder / rom).mkdir(exist_ok=True)
    path = folder / rom / "w1_slave"
    path.write_text(text)
    return path
