"""A settings file is read whole, and everything wrong with it is said at once."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import pytest

from controller.bounded import setting
from controller.bounded_toml import FILE_BYTES_MAX, read_tables, text_of
from controller.errors import DiskError, SettingsError


class Colour(StrEnum):
    RED = "red"
    BLUE = "blue"


@dataclass(frozen=True, slots=True)
class Vessel:
    volume_l: float = setting("liquid", unit="L", low=1, high=200)
    ceiling_c: float = setting("never warmer", unit="°C", default=40.0, low=20, high=45)
    pad_c_max: float | None = setting("pad limit", unit="°C", default=None, low=30, high=60)
    name: str = setting("for people", default="vessel")
    probes: int = setting("how many", default=1, low=1, high=4)
    jacket: bool = setting("is it on", default=False)
    colour: Colour = setting("of the lid", default=Colour.RED)
    mode: str = setting("a choice", default="slow", words=("slow", "fast"))
    hosts: tuple[str, ...] = setting("several", default=())

    def __post_init__(self) -> None:
        if self.probes > 2 and self.mode == "fast":
            raise SettingsError("Three probes cannot be fast.", "Choose slow.")


@dataclass(frozen=True, slots=True)
class Beer:
    rom: str = setting("its id")


TABLES = {"vessel": Vessel, "probes.beer": Beer}
GOOD = '[vessel]\nvolume_l = 20\n[probes.beer]\nrom = "28-1"\n'


def problems_of(text: str, tables: dict[str, type] = TABLES, **more) -> list[str]:
    with pytest.raises(SettingsError) as caught:
        read_tables(text, tables, **more)
    return [line.strip() for line in caught.value.what.splitlines()[1:]]


def test_a_good_file_gives_one_instance_a_table_with_defaults_filled_in():
    found = read_tables(GOOD, TABLES)
    assert found == {"vessel": Vessel(20.0), "probes.beer": Beer("28-1")}
    assert isinstance(found["vessel"].volume_l, float)


def test_every_kind_of_value_is_read():
    text = GOOD.replace(
        "volume_l = 20",
        'volume_l = 20.5\npad_c_max = 50\nname = "ä"\nprobes = 2\njacket = true\n'
        'colour = "blue"\nmode = "fast"\nhosts = ["a", "b"]',
    )
    expected = Vessel(20.5, 40.0, 50.0, "ä", 2, True, Colour.BLUE, "fast", ("a", "b"))
    found = read_tables(text, TABLES)["vessel"]
    assert found == expected
    assert found.colour is Colour.BLUE


def test_all_problems_come_at_once_each_with_its_path_value_and_remedy():
    text = '[vessel]\nvolume_l = 500\nprobes = "2"\nceilling_c = 3\n[vesel]\n[probes.bear]\n'
    assert problems_of(text) == [
        "vessel.ceilling_c: unknown setting (3); did you mean ceiling_c?",
        "vesel: unknown table; did you mean vessel?",
        "probes.bear: unknown table; did you mean beer?",
        "vessel.volume_l: too great (500.0); allowed 1 to 200 L; give a value in that range",
        "vessel.probes: not a whole number ('2'); allowed 1 to 4; "
        "write it without quotes or a decimal point",
        "probes.beer.rom: missing; allowed text; add it",
    ]


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("ceiling_c = 95", "if 95 is °F, write 35.0 (°C)"),
        ("pad_c_max = 122", "if 122 is °F, write 50.0 (°C)"),
        ("ceiling_c = 300", "give a value in that range"),
        ("ceiling_c = nan", "not a number (nan)"),
        ("ceiling_c = -inf", "too small (-inf)"),
        ("probes = 1.0", "not a whole number (1.0)"),
        ("probes = true", "not a whole number (True)"),
        ("ceiling_c = true", "not a number (True)"),
        ("jacket = 1", "not true or false (1)"),
        ("name = 7", "not text (7)"),
        ('hosts = "a"', "not a list of texts ('a')"),
        ("hosts = [1]", "not a list of texts ([1])"),
        ('colour = "blu"', "allowed red, blue; did you mean blue?"),
        ('mode = "warp"', "allowed slow, fast; take it out; known here: fast, slow"),
        ('rom = "28-1"', "unknown setting ('28-1'); it belongs in [probes.beer]"),
        ("probes = {beer = 1}", "not a whole number ({'beer': 1})"),
        ('probes = 3\nmode = "fast"', "vessel: Three probes cannot be fast; Choose slow."),
    ],
)
def test_a_wrong_value_is_told_with_what_would_be_right(line, expected):
    (only,) = problems_of(GOOD.replace("volume_l = 20", f"volume_l = 20\n{line}"))
    assert expected in only


def test_a_table_that_is_a_value_is_told_how_to_be_a_table():
    (only,) = problems_of("vessel = 5\n" + '[probes.beer]\nrom = "28-1"\n')
    assert only == "vessel: not a table (5); write [vessel] with its keys below it"


def test_an_optional_table_may_be_absent_and_is_then_none_but_is_checked_when_there():
    assert read_tables("", {"beer": Beer}, optional=("beer",)) == {"beer": None}
    assert problems_of("[beer]", {"beer": Beer}, optional=("beer",)) == [
        "beer.rom: missing; allowed text; add it"
    ]


def test_keys_outside_every_table_belong_to_the_empty_name():
    tables = {"": Beer, "vessel": Vessel}
    found = read_tables('rom = "28-1"\n[vessel]\nvolume_l = 9', tables)
    assert found[""] == Beer("28-1")
    assert problems_of('rim = "x"\n[vessel]\nvolume_l = 9', tables) == [
        "rim: unknown setting ('x'); did you mean rom?",
        "rom: missing; allowed text; add it",
    ]


@pytest.mark.parametrize("text", ["[vessel", "a = 1\na = 2", "x = " + "[" * 5000])
def test_a_file_that_is_not_toml_says_so(text):
    with pytest.raises(SettingsError, match="is not TOML"):
        read_tables(text, TABLES)


def test_a_long_value_is_shortened_in_the_message():
    (only,) = problems_of(GOOD.replace('"28-1"', "[" + "1," * 500 + "]"))
    assert len(only) < 200


def test_a_file_is_read_and_a_missing_wrong_or_huge_one_names_the_remedy(tmp_path):
    good = tmp_path / "good.toml"
    good.write_bytes(b"\xef\xbb\xbf" + "name = 'ä'".encode())
    assert text_of(good) == "name = 'ä'"
    latin = tmp_path / "latin.toml"
    latin.write_bytes("name = 'ä'".encode("latin-1"))
    huge = tmp_path / "huge.toml"
    huge.write_bytes(b"#" * (FILE_BYTES_MAX + 1))
    for path, expected in [
        (tmp_path / "none.toml", "There is no settings file"),
        (tmp_path, "cannot be read"),
        (latin, "not UTF-8"),
        (huge, "over 262144"),
    ]:
        with pytest.raises(DiskError, match=expected):
            text_of(path)
