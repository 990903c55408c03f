"""The lines of the chip: opening it, noting the lines, and the stop step."""

import builtins
import importlib.util
import os
import subprocess
import sys
from pathlib import Path

import pytest

from controller.edge import pins as pins_module
from controller.edge.pins import ClaimedPin, all_off, note_pins, noted_pins, open_pin_factory
from controller.edge.relays import RelaySettings
from controller.errors import SettingsError, WiringError

HAS_LGPIO = importlib.util.find_spec("lgpio") is not None


@pytest.mark.parametrize("name", ["", "mock", "native", "rpigpio", "LGPIO"])
def test_no_factory_but_the_one_is_opened(name):
    with pytest.raises(SettingsError, match="Name lgpio"):
        open_pin_factory(name)


@pytest.mark.skipif(HAS_LGPIO, reason="the library is installed")
def test_a_missing_library_is_told_with_the_remedy_and_nothing_else_is_tried():
    with pytest.raises(WiringError, match=r"lgpio.*pip install 'barmkeep\[pi\]'"):
        open_pin_factory("lgpio")
    with pytest.raises(WiringError, match="pip install"):
        pins_module.lgpio_drive()


@pytest.mark.skipif(not HAS_LGPIO, reason="needs lgpio")
@pytest.mark.skipif(Path("/dev/gpiochip0").exists(), reason="there is a chip here")
def test_a_missing_chip_is_told_with_the_remedy(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(WiringError, match="Raspberry Pi"):
        open_pin_factory("lgpio")
    with pytest.raises(WiringError, match="gpiochip"):
        pins_module.lgpio_drive()


def test_a_working_folder_the_library_cannot_write_names_the_remedy(monkeypatch):
    """The error lgpio 0.2.2 raises at import when its folder is not writable."""
    real_import = builtins.__import__

    def fails(name, *rest):
        if name.startswith("gpiozero.pins.lgpio"):
            raise FileNotFoundError(2, "No such file or directory", ".lgd-nfy-3")
        return real_import(name, *rest)

    monkeypatch.setattr(builtins, "__import__", fails)
    with pytest.raises(WiringError, match="LG_WD"):
        open_pin_factory("lgpio")


def test_a_chip_that_may_not_be_opened_names_the_group(monkeypatch):
    assert "group gpio" in pins_module._explained(Exception("'can not open gpiochip'")).remedy


def test_the_lines_of_all_chambers_are_noted_and_found(tmp_path):
    note_pins(tmp_path, "left", RelaySettings(heat_gpio=17, fan_gpio=27).claimed())
    note_pins(tmp_path, "right", RelaySettings(heat_gpio=22, active_high=False).claimed())
    assert noted_pins(tmp_path) == (ClaimedPin(17), ClaimedPin(27), ClaimedPin(22, False))
    assert noted_pins(tmp_path, "right") == (ClaimedPin(22, active_high=False),)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["left.pins", "right.pins"]


def test_damaged_notes_cost_only_the_damaged_rows(tmp_path):
    (tmp_path / "left.pins").write_bytes(b"17 high\nx\n99 high\n27 maybe\n\xff\xfe\n22 low\n")
    assert noted_pins(tmp_path) == (ClaimedPin(17), ClaimedPin(22, active_high=False))


def test_no_notes_are_no_lines(tmp_path):
    assert noted_pins(tmp_path / "nowhere") == ()


def test_every_line_is_driven_to_its_own_off_level():
    driven = []
    left = all_off(
        [ClaimedPin(17), ClaimedPin(27, active_high=False)],
        lambda gpio, level: driven.append((gpio, level)),
        wait=lambda: pytest.fail("no reason to wait"),
    )
    assert left == () and driven == [(17, 0), (27, 1)]


class Held:
    """Lines that a dying process holds for some rounds."""

    def __init__(self, busy_rounds):
        self.busy_rounds, self.waits, self.driven = busy_rounds, 0, []

    def drive(self, gpio, level):
        if gpio in self.busy_rounds and self.waits < self.busy_rounds[gpio]:
            raise OSError(16, "GPIO busy")
        self.driven.append(gpio)

    def wait(self):
        self.waits += 1


def test_a_line_still_held_is_tried_again_until_it_is_free():
    held = Held({17: 30})
    assert all_off([ClaimedPin(17), ClaimedPin(27)], held.drive, held.wait) == ()
    assert held.driven == [27, 17] and held.waits == 30


def test_a_line_that_is_never_free_is_named_after_a_bounded_time():
    held = Held({17: 10**9})
    left = all_off([ClaimedPin(17), ClaimedPin(27)], held.drive, held.wait)
    assert left == (ClaimedPin(17),) and held.waits == pins_module.OFF_TRIES - 1
    assert held.driven == [27]


def test_the_stop_step_starts_in_well_under_a_second_and_loads_no_pin_library():
    program = (
        "import sys, controller.edge.pins\n"
        "print(sorted({'gpiozero', 'lgpio', 'paho', 'w1thermsensor'} & set(sys.modules)))\n"
    )
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    ran = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, env=environment, check=True, timeout=5
    )
    assert ran.stdout == b"[]\n"
