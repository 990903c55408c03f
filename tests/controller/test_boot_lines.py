"""config.txt: which lines are missing. Source of the syntax: the Raspberry Pi documentation of
config.txt (gpio, dtoverlay, conditional filters), as of 2025."""

from __future__ import annotations

import pytest

from controller.boot_lines import harmful_lines, missing_lines

FULL = """
# For the chamber.
[pi4]
arm_boost=1
[all]
dtoverlay=w1-gpio,gpiopin=4
gpio=17,27=op,dl   # both relays
dtparam=strict_gpiod
"""


def texts(config: str, *gpios: int) -> list[str]:
    return [line.text for line in missing_lines(config, gpios)]


def test_nothing_is_missing_from_a_full_file() -> None:
    assert texts(FULL, 17, 27) == []


def test_an_empty_file_lacks_everything_and_each_line_says_why() -> None:
    assert texts("", 17, 27) == [
        "dtoverlay=w1-gpio,gpiopin=4",
        "gpio=17,27=op,dl",
        "dtparam=strict_gpiod",
    ]
    assert all(line.meaning for line in missing_lines("", (17,)))


@pytest.mark.parametrize(
    ("old", "new", "lacking"),
    [
        ("gpio=17,27=op,dl", "gpio=17=op,dl", "gpio=27=op,dl"),
        ("gpio=17,27=op,dl", "gpio=16-27=op,dl", None),
        ("gpio=17,27=op,dl", "gpio=17,27=op,dh", "gpio=17,27=op,dl"),
        ("gpio=17,27=op,dl", "gpio=17,27=ip,pd", "gpio=17,27=op,dl"),
        ("gpio=17,27=op,dl", "#gpio=17,27=op,dl", "gpio=17,27=op,dl"),
        ("[all]", "[pi5]", "dtparam=strict_gpiod"),
        (
            "dtparam=strict_gpiod",
            "dtparam=strict_gpiod\ndtparam=watchdog=off",
            "dtparam=watchdog=on",
        ),
    ],
)
def test_a_line_that_does_not_do_its_work_counts_as_missing(
    old: str, new: str, lacking: str | None
) -> None:
    found = texts(FULL.replace(old, new), 17, 27)
    assert lacking in found if lacking else found == []


def test_parasite_power_is_warned_of() -> None:
    assert harmful_lines(FULL) == ()
    (line,) = harmful_lines(FULL.replace("gpiopin=4", "gpiopin=4,pullup=1,pullup"))
    assert "take it out" in line.meaning


@pytest.mark.parametrize("junk", ["gpio==op,dl", "gpio=a-b=op,dl", "[", "\x00", "gpio=5-=op,dl"])
def test_junk_is_passed_over(junk: str) -> None:
    assert "gpio=17=op,dl" in texts(junk, 17)
