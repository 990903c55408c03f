"""Orders and their answers in words, and what is offered: nothing the controller would refuse."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from controller.decision.alarms import RULES as ALARMS
from controller.decision.interlock_rules import RULES as INTERLOCKS
from controller.order_kinds import ORDER_KINDS, SHELVE_S_MAX
from controller.wire import Order, Reply
from dashboard.facts import Given
from dashboard.sheet.asked import AT_MACHINE, LINES_MAX, SHELF_HOURS, WORDS, Choices, asking
from dashboard.sheet.seen import Seen
from dashboard.sheet.troubles import Trouble
from dashboard.sheet.units import TemperatureUnit, Units
from tests.dashboard.lines import START_UTC_S, tick

ZONE = ZoneInfo("Europe/Stockholm")
UNITS = Units(zone=ZONE)


def seen(now_utc_s: float = START_UTC_S + 5.0, **more: object) -> Seen:
    newest = replace(tick(1), utc_s=now_utc_s, **({"step": 1} | more))
    return Seen("cellar", now_utc_s, newest, now_utc_s)


def given(kind: str, reply: Reply | None = None, ago_s: float = 5.0, **more: object) -> Given:
    order = Order("cellar", "id-1", "phone", START_UTC_S + 5.0 - ago_s, 60.0, kind, **more)
    return Given(order, reply)


def answer(taken: bool, reason: str) -> Reply:
    return Reply("cellar", "id-1", taken, reason, START_UTC_S)


def lines(*all_given: Given, units: Units = UNITS) -> list[str]:
    found = asking(seen(), all_given, (), units).lines
    return [f"{each.fate}: {each.what}. {each.reason}".replace("\u00a0", " ") for each in found]


def test_an_order_is_taken_refused_waited_for_or_lost() -> None:
    hold = {"target_c": 22.0, "for_s": 3600.0}
    assert lines(given("hold", answer(True, "Holding."), **hold)) == [
        "taken: Hold 22.0 °C for 60 min. Holding."
    ]
    assert lines(given("hold", answer(False, "Too hot."), target_c=44.0)) == [
        "refused: Hold 44.0 °C until resumed. Too hot."
    ]
    assert lines(given("next")) == ["waiting: Go on to the next step. No answer yet."]
    (lost,) = lines(given("end", ago_s=61.0))
    assert lost.startswith("lost: End the batch. No answer came, so nothing was done.")


def test_what_was_answered_reads_in_the_readers_units() -> None:
    fahrenheit = Units(temperature=TemperatureUnit.FAHRENHEIT, zone=ZONE)
    reason = "44 °C is above the 41 °C this chamber allows."
    (line,) = lines(given("hold", answer(False, reason), target_c=44.0), units=fahrenheit)
    assert line == (
        "refused: Hold 111.2 °F until resumed. 111 °F is above the 106 °F this chamber allows."
    )


def test_what_was_asked_long_ago_is_left_to_the_log_and_the_rest_are_few() -> None:
    assert lines(given("next", ago_s=601.0)) == []
    assert len(lines(*[given("next")] * 9)) == LINES_MAX


def test_every_kind_of_order_has_its_words() -> None:
    assert set(WORDS) == {kind.name for kind in ORDER_KINDS}
    for kind in ORDER_KINDS:
        (line,) = lines(given(kind.name, batch="two", gravity_sg=1.02, target_c=20.0))
        assert "None" not in line
    assert lines(given("heat"))[0].startswith("waiting: heat.")


def test_the_page_and_the_controller_agree_on_what_needs_somebody_there() -> None:
    assert {rule.code for rule in INTERLOCKS if rule.at_machine} == AT_MACHINE
    assert max(SHELF_HOURS) * 3600.0 == SHELVE_S_MAX


def choices(trouble: Trouble, others: int = 0, **more: object) -> Choices:
    troubles = (trouble, *[replace(trouble, code=f"other-{n}") for n in range(others)])
    return asking(seen(**more), (), troubles, UNITS).choices[trouble.code]


@pytest.mark.parametrize("rule", ALARMS, ids=lambda rule: rule.code)
def test_an_alarm_is_offered_what_its_controller_allows(rule) -> None:
    trouble = Trouble(rule.code, rule.priority.value, "It is.", "Look.")
    new = choices(trouble, alarms=(rule.code,), alarm_states={rule.code: "unack"})
    assert new.acknowledge == rule.code
    assert bool(new.shelve) is rule.may_be_shelved
    old = choices(trouble, alarms=(rule.code,), alarm_states={rule.code: "acked"})
    assert (old.acknowledge, old.is_seen) == ("", True)


@pytest.mark.parametrize(
    "rule", [each for each in INTERLOCKS if each.latches], ids=lambda r: r.code
)
def test_a_trip_is_offered_for_release_or_sent_to_the_machine(rule) -> None:
    trouble = Trouble(rule.code, "high", "It is.", "Look.")
    found = choices(trouble, trips=(rule.code,), alarm_states={"tripped": "unack"})
    assert found.acknowledge == "tripped"
    assert (found.release, found.at_machine) == (
        ("", rule.code) if rule.at_machine else (rule.code, "")
    )
    assert found.shelve == ""


def test_of_several_the_one_that_came_first_is_named() -> None:
    late = Trouble("late", "medium", "It is.", "Look.")
    more = {"alarm_states": {"late": "unack"}, "first_out": "late"}
    assert choices(late, 1, **more).came_first
    assert not choices(late, 0, **more).came_first
    assert not choices(late, 1, **(more | {"first_out": "tripped"})).came_first
    assert choices(Trouble("probe-garage", "low", "x", "y")) == Choices()


def test_what_is_over_and_what_is_kept_quiet_is_listed() -> None:
    found = asking(
        seen(
            alarm_states={"late": "rtnun", "clock-not-set": "shlvd", "relay-worn": "shlvd"},
            shelved_left_s={"clock-not-set": 7200.0},
        ),
        (), (), UNITS,
    )  # fmt: skip
    assert found.over == (("late", "late"),)
    assert found.quiet == (
        ("clock-not-set", "clock not set", START_UTC_S + 7205.0),
        ("relay-worn", "relay worn", None),
    )


@pytest.mark.parametrize(
    ("now_utc_s", "left_s", "until"),
    [
        # Source: EU directive 2000/84/EC: summer time from 01:00 UTC on the last Sundays of March
        # to October; in 2026 the 29th of March and the 25th of October.
        (1_774_744_200.0, 3600.0, "until 03:30"),  # 00:30 UTC, the clocks jump at 01:00
        (1_792_888_200.0, 3600.0, "until 02:30"),  # 00:30 UTC, 02:30 comes twice
        (START_UTC_S, None, "until somebody resumes"),
    ],
)
def test_a_hold_says_when_it_ends_by_the_readers_clock(
    now_utc_s: float, left_s: float | None, until: str
) -> None:
    found = asking(seen(now_utc_s, hold_c=22.0, hold_left_s=left_s), (), (), UNITS)
    assert found.held.replace("\u00a0", " ") == (
        f"Held at 22.0 °C by an order {until}; the procedure waits."
    )


def test_a_hold_without_a_procedure_and_a_silent_chamber() -> None:
    found = asking(seen(hold_c=22.0, step=None), (), (), UNITS)
    assert "waits" not in found.held and not found.has_procedure
    silent = replace(seen(hold_c=22.0), clock_utc_s=START_UTC_S + 9000.0)
    assert asking(silent, (), (), UNITS).held == ""
    assert asking(Seen("cellar", START_UTC_S), (), (), UNITS).lines == ()
