"""The probes through the real library, on files in the kernel's format.

Sources: DS18B20 data sheet (temperature table, scratchpad), Maxim Application Note 27 (checksum),
Linux drivers/w1/slaves/w1_therm.c (file format, empty file on failure).
"""

import os
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.decision.vocabulary import Fault, Moment, Role
from controller.edge.probes import (
    LocalProbes,
    ProbeSettings,
    crc8,
    found_roms,
    frame_fault,
)
from controller.errors import SettingsError
from tests.controller.edge.onewire_files import AIR, BEER, GARAGE, PAD, frame_of, place, text_of


class StillClock:
    def now(self):
        return Moment(5.0, 0.0)

    def sleep_until(self, mono_s): ...


def beer_of(folder: Path, text: str | None, **more):
    if text is not None:
        place(folder, BEER, text)
    settings = ProbeSettings(beer=BEER, folder=str(folder), **more)
    (reading,) = LocalProbes(settings, StillClock()).read()
    return reading


# Source: Maxim AN27 (ROM example), the catalogue of parametrised CRC algorithms (check value of
# CRC-8/MAXIM-DOW), and frames printed in public kernel logs.
@pytest.mark.parametrize(
    ("octets", "crc"),
    [
        ("02 1c b8 01 00 00 00", 0xA2),
        (b"123456789".hex(), 0xA1),
        ("28 ff 64 1e cd 49 ee", 0xF7),
        ("28 0d f9 a1 05 00 00", 0x12),
        ("fe ff 55 00 7f ff 0c 10", 0x6D),
        ("00 00 00 00 00 00 00 00", 0x00),
        ("ff ff ff ff ff ff ff ff", 0xC9),
    ],
)
def test_the_checksum_is_the_published_one(octets, crc):
    assert crc8(bytes.fromhex(octets)) == crc
    assert crc8(bytes.fromhex(octets) + bytes([crc])) == 0


# Source: DS18B20 data sheet, table 1 "Temperature/Data Relationship" (from memory, recomputed).
@pytest.mark.parametrize(
    ("word", "temperature_c"),
    [
        (0x07D0, 125.0),
        (0x0191, 25.0625),
        (0x00A2, 10.125),
        (0x0008, 0.5),
        (0x0000, 0.0),
        (0xFFF8, -0.5),
        (0xFF5E, -10.125),
        (0xFE6F, -25.0625),
        (0xFC90, -55.0),
    ],
)
def test_the_data_sheet_table_is_read_as_printed(tmp_path, word, temperature_c):
    eight = bytes([word & 0xFF, word >> 8]) + bytes.fromhex("4b 46 7f ff 0c 10")
    reading = beer_of(tmp_path, text_of(eight + bytes([crc8(eight)])))
    assert (reading.value_c, reading.fault) == (temperature_c, None)


GOOD = text_of(bytes.fromhex("30 02 4b 46 7f ff 0c 10 4e"), t=35000)


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        (None, Fault.MISSING),
        ("", Fault.UNREADABLE),
        (GOOD.replace("YES", "NO"), Fault.UNREADABLE),
        (text_of(bytes.fromhex("50 05 4b 46 7f ff 0c 10 1c"), t=85000), Fault.POWER_ON),
        (text_of(bytes.fromhex("ff 07 4b 46 7f ff 0c 10 a6"), t=127937), Fault.POWER_ON),
        (text_of(bytes(9)), Fault.SHORTED),
        (text_of(bytes([0xFF] * 9), t=-62), Fault.GARBLED),
        (GOOD.replace("4e", "4f"), Fault.GARBLED),
        (GOOD.splitlines()[0] + "\n", Fault.GARBLED),
        (GOOD.splitlines()[0] + "\n30 02", Fault.GARBLED),
        ("30 02 4b : YES\n30 02 4b t=1\n", Fault.GARBLED),
        (GOOD.replace("30", "zz"), Fault.GARBLED),
        ("\n\n", Fault.UNREADABLE),
        ("\ufffd\x00 YES\nt=", Fault.GARBLED),
        (GOOD.splitlines()[0] + "\n31 02 4b 46 7f ff 0c 10 0d t=35062\n", Fault.GARBLED),
    ],
)
def test_each_way_of_failing_has_its_fault(tmp_path, text, fault):
    reading = beer_of(tmp_path, text)
    assert (reading.value_c, reading.fault) == (None, fault)


@pytest.mark.parametrize("position_value", [(4, 0x00), (4, 0xFF), (4, 0x7E), (7, 0x11), (7, 0x00)])
def test_a_frame_no_ds18b20_sends_is_refused_though_its_checksum_is_right(tmp_path, position_value):
    position, value = position_value
    eight = bytearray(frame_of(30.0)[:8])
    eight[position] = value
    reading = beer_of(tmp_path, text_of(bytes(eight) + bytes([crc8(bytes(eight))])))
    assert reading.fault is Fault.GARBLED


@pytest.mark.parametrize("config", [0x1F, 0x3F, 0x5F, 0x7F])
def test_every_resolution_is_read(tmp_path, config):
    assert beer_of(tmp_path, text_of(frame_of(31.5, config))).value_c == 31.5


@given(
    st.floats(-20, 60).map(lambda value: round(value * 16) / 16),
    st.integers(0, 71),
    st.sampled_from(("both", "first", "second")),
)
def test_no_single_flipped_bit_of_a_frame_is_taken(temperature_c, bit, where):
    """CRC-8 finds every single-bit error; the two lines must also be the same."""
    good = frame_of(temperature_c)
    bad = bytearray(good)
    bad[bit // 8] ^= 1 << bit % 8
    good_lines, bad_lines = text_of(good).splitlines(), text_of(bytes(bad)).splitlines()
    lines = {
        "both": bad_lines,
        "first": [bad_lines[0], good_lines[1]],
        "second": [good_lines[0], bad_lines[1]],
    }[where]
    assert frame_fault(text_of(good)) is None
    assert frame_fault("\n".join(lines) + "\n") is not None


def test_no_single_flipped_bit_of_the_text_of_the_bytes_is_taken():
    text = text_of(frame_of(33.3125)).encode()
    start_of_second = text.index(b"\n") + 1
    for start in (0, start_of_second):
        for place_of_bit in range(start * 8, (start + 26) * 8):
            bad = bytearray(text)
            bad[place_of_bit // 8] ^= 1 << place_of_bit % 8
            assert frame_fault(bad.decode("ascii", errors="replace")) is not None, bad


@given(st.text(max_size=200))
def test_no_text_whatever_breaks_the_check(text):
    frame_fault(text)


@given(noise=st.binary(max_size=300))
def test_no_file_whatever_breaks_the_reading(tmp_path_factory, noise):
    folder = tmp_path_factory.mktemp("bus")
    (folder / BEER).mkdir()
    (folder / BEER / "w1_slave").write_bytes(noise)
    assert beer_of(folder, None).fault is not None


def test_the_kernels_own_error_is_unreadable_and_not_missing(tmp_path):
    (tmp_path / BEER).mkdir()
    (tmp_path / BEER / "w1_slave").symlink_to("/proc/self/mem")  # A read at 0 gives EIO.
    assert beer_of(tmp_path, None).fault is Fault.UNREADABLE


def test_the_offset_is_added_to_its_own_probe_only(tmp_path):
    for rom in (BEER, PAD):
        place(tmp_path, rom, GOOD)
    settings = ProbeSettings(beer=BEER, pad=PAD, beer_offset_k=-0.4, folder=str(tmp_path))
    beer, pad = LocalProbes(settings, StillClock()).read()
    assert (beer.value_c, pad.value_c) == (pytest.approx(34.6), 35.0)


def test_an_offset_does_not_hide_the_power_on_value(tmp_path):
    text = text_of(bytes.fromhex("50 05 4b 46 7f ff 0c 10 1c"))
    assert beer_of(tmp_path, text, beer_offset_k=1.0).fault is Fault.POWER_ON


def test_every_fitted_role_is_read_beer_first_and_dated(tmp_path):
    for rom, value_c in ((BEER, 35.0), (GARAGE, -3.5), (AIR, 30.0), (PAD, 48.0)):
        place(tmp_path, rom, text_of(frame_of(value_c)))
    settings = ProbeSettings(BEER, GARAGE, AIR, PAD, folder=str(tmp_path))
    readings = LocalProbes(settings, StillClock()).read()
    assert [reading.role for reading in readings] == list(Role)
    assert [reading.value_c for reading in readings] == [35.0, -3.5, 30.0, 48.0]
    assert all(reading.taken_mono_s == 5.0 for reading in readings)


def test_one_bad_probe_does_not_touch_the_others(tmp_path):
    place(tmp_path, BEER, GOOD)
    settings = ProbeSettings(beer=BEER, garage=GARAGE, folder=str(tmp_path))
    beer, garage = LocalProbes(settings, StillClock()).read()
    assert (beer.value_c, garage.fault) == (35.0, Fault.MISSING)


def test_a_probe_that_vanished_and_came_back_is_read_again(tmp_path):
    probes = LocalProbes(ProbeSettings(beer=BEER, folder=str(tmp_path)), StillClock())
    assert probes.read()[0].fault is Fault.MISSING
    path = place(tmp_path, BEER, GOOD)
    assert probes.read()[0].value_c == 35.0
    path.unlink()
    path.parent.rmdir()
    assert probes.read()[0].fault is Fault.MISSING
    place(tmp_path, BEER, text_of(frame_of(20.0)))
    assert probes.read()[0].value_c == 20.0


def test_the_bus_is_asked_once_a_reading(tmp_path, monkeypatch):
    """Each read of the real file is a conversion of 0.75 s."""
    place(tmp_path, BEER, GOOD)
    probes = LocalProbes(ProbeSettings(beer=BEER, folder=str(tmp_path)), StillClock())
    opened, real_open = [], os.open
    monkeypatch.setattr(
        os, "open", lambda path, *rest: opened.append(path) or real_open(path, *rest)
    )
    probes.read()
    assert opened == [str(tmp_path / BEER / "w1_slave")]


def test_a_probe_is_bound_by_its_id_whatever_else_is_on_the_bus(tmp_path):
    place(tmp_path, "28-000000000001", text_of(frame_of(20.0)))
    assert beer_of(tmp_path, None).fault is Fault.MISSING


@pytest.mark.parametrize(
    "rom", ["", "28-", "28-0000000000B1", "10-000000000001", "28-00000000000g", "28-../../etc/pass"]
)
def test_an_id_that_is_none_is_refused_with_a_remedy(rom):
    with pytest.raises(SettingsError, match="barmkeep check"):
        ProbeSettings(beer=rom)


def test_one_probe_cannot_have_two_roles():
    with pytest.raises(SettingsError, match="two roles"):
        ProbeSettings(beer=BEER, pad=BEER)


def test_the_bus_is_listed_with_strangers_and_phantoms_apart(tmp_path):
    for name in (PAD, BEER, "10-000000000001", "00-800000000000", "w1_bus_master1"):
        (tmp_path / name).mkdir()
    listing = found_roms(str(tmp_path))
    assert listing.roms == tuple(sorted((BEER, PAD)))
    assert listing.strangers == ("10-000000000001",)
    assert listing.phantoms == ("00-800000000000",)


def test_no_bus_at_all_is_an_empty_listing(tmp_path):
    assert found_roms(str(tmp_path / "nowhere")).roms == ()


@pytest.mark.bench
def test_reading_a_probe_is_quick(tmp_path, capsys):
    for rom in (BEER, GARAGE, PAD):
        place(tmp_path, rom, GOOD)
    settings = ProbeSettings(beer=BEER, garage=GARAGE, pad=PAD, folder=str(tmp_path))
    probes, rounds = LocalProbes(settings, StillClock()), 2000
    started_s = time.perf_counter()
    for _ in range(rounds):
        probes.read()
    each_us = (time.perf_counter() - started_s) / rounds / 3 * 1e6
    with capsys.disabled():
        print(f"\none probe reading {each_us:.1f} us; target 40; ratio {each_us / 40:.2f}")


def test_two_points_make_a_straight_line_that_is_right_at_both(tmp_path):
    """Raw 0.5 °C in ice water and raw 37.25 °C where 38 °C is true; halfway in between by line."""
    two = {"beer_offset_k": -0.5, "beer_second_c": 38.0, "beer_second_offset_k": 0.75}
    for raw_c, true_c in ((0.5, 0.0), (37.25, 38.0), (18.875, 19.0)):
        assert beer_of(tmp_path, text_of(frame_of(raw_c)), **two).value_c == pytest.approx(true_c)


def test_what_was_added_is_known_from_the_corrected_value():
    settings = ProbeSettings(
        beer=BEER, pad=PAD, beer_offset_k=-0.5, beer_second_c=38.0, beer_second_offset_k=0.75
    )
    line = settings.calibration(Role.BEER)
    assert line.added_k(line.corrected(37.25)) == pytest.approx(0.75)
    assert line.added_k(None) == -0.5
    assert settings.calibration(Role.PAD).added_k(40.0) == 0.0


def test_half_of_a_second_point_is_refused():
    with pytest.raises(SettingsError, match="belong together"):
        ProbeSettings(beer=BEER, beer_second_c=38.0)
