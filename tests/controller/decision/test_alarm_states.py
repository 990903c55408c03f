"""ISA-18.2 (from memory): its states and every way between them, floods, first-out, shelving."""

from __future__ import annotations

from dataclasses import replace

import pytest

from controller.decision import alarms as alarms_module
from controller.decision.alarm_memory import (
    AlarmMemory,
    AlarmState,
    acknowledged,
    restored,
    shelved,
    shelved_left_s,
    unshelved,
)
from controller.decision.alarm_rules import (
    DRIFT_DELAY_S,
    FLOOD_BEGINS_ABOVE,
    RULES,
    AlarmRule,
    Situation,
    Strain,
)
from controller.decision.alarms import judge
from controller.decision.vocabulary import Moment, Priority, Target, Transition
from tests.controller.decision.test_alarms import CASES, WELL, beer

LATE = CASES["late"][0]
DRIFTED = CASES["beer-drifting"][0]


class Watch:
    """Judges situations ten seconds apart, and lets a person act in between."""

    def __init__(self) -> None:
        self.memory, self.mono_s = AlarmMemory(), 0.0
        self.told: list[Transition] = []
        self.codes: tuple[str, ...] = ()

    @property
    def now(self) -> Moment:
        return Moment(self.mono_s, self.mono_s)

    def sees(self, situation: Situation, for_s: float = 120.0) -> Watch:
        until_s = self.mono_s + for_s
        while self.mono_s < until_s:
            self.mono_s += 10.0
            self.memory, self.codes, told = judge(
                self.memory, replace(situation, now=replace(situation.now, mono_s=self.mono_s))
            )
            self.told += told
        return self

    def acknowledges(self, code: str | None = None) -> Watch:
        self.memory, told = acknowledged(self.memory, code, self.now)
        self.told += told
        return self

    def shelves(self, code: str, for_s: float) -> Watch:
        self.memory, told = shelved(self.memory, code, for_s, self.now)
        self.told += told
        return self

    def unshelves(self, code: str) -> Watch:
        self.memory, told = unshelved(self.memory, code, self.now)
        self.told += told
        return self

    @property
    def state(self) -> str:
        return self.memory.states.get("late", AlarmState.NORM)

    @property
    def words(self) -> list[str]:
        return [each.state for each in self.told if each.code == "late"]


def test_normal_raised_acknowledged_and_over() -> None:
    watch = Watch().sees(WELL)
    assert watch.state == "norm"
    assert watch.sees(LATE).state == "unack"
    assert watch.acknowledges("late").state == "acked"
    assert watch.codes == ("late",)
    assert watch.sees(WELL).state == "norm"
    assert watch.words == ["raised", "acknowledged", "cleared"]


def test_over_before_anybody_saw_it_and_then_seen() -> None:
    watch = Watch().sees(LATE).sees(WELL)
    assert (watch.state, watch.codes) == ("rtnun", ())
    assert watch.acknowledges().state == "norm"
    assert watch.words == ["raised", "cleared", "acknowledged"]
    assert watch.acknowledges().words == ["raised", "cleared", "acknowledged"]


def test_over_unseen_and_raised_again() -> None:
    watch = Watch().sees(LATE).sees(WELL).sees(LATE)
    assert watch.state == "unack"
    assert watch.words == ["raised", "cleared", "raised"]


@pytest.mark.parametrize("before", ["norm", "unack", "acked", "rtnun"])
def test_from_any_state_it_is_shelved_and_returns_by_itself(before: str) -> None:
    watch = Watch().sees(WELL)
    if before != "norm":
        watch.sees(LATE)
    if before == "acked":
        watch.acknowledges()
    if before == "rtnun":
        watch.sees(WELL)
    assert watch.state == before
    watch.shelves("late", 3600.0)
    began_s = watch.mono_s
    assert watch.state == "shlvd"
    assert shelved_left_s(watch.memory, watch.now) == {"late": 3600.0}
    assert watch.sees(LATE, 3590.0).state == "shlvd"
    assert "late" not in watch.codes
    assert watch.sees(LATE, 10.0).state == "unack"
    assert watch.codes == ("late",)
    back, raised = watch.told[-2:]
    assert (back.state, back.since_mono_s) == ("unshelved", began_s + 3600.0)
    assert (raised.state, raised.since_mono_s) == ("raised", back.since_mono_s)


def test_what_is_over_when_its_shelf_ends_is_normal() -> None:
    watch = Watch().sees(LATE).shelves("late", 600.0).sees(WELL, 620.0)
    assert watch.state == "norm"
    assert watch.words == ["raised", "shelved", "unshelved"]


def test_a_person_takes_it_off_the_shelf() -> None:
    watch = Watch().sees(LATE).shelves("late", 3600.0).unshelves("late").sees(LATE, 10.0)
    assert watch.state == "unack"
    assert watch.words == ["raised", "shelved", "unshelved", "raised"]
    assert watch.unshelves("late").words == ["raised", "shelved", "unshelved", "raised"]


def test_a_shelved_root_cause_still_keeps_its_consequences_quiet() -> None:
    cause = replace(
        CASES["cannot-reach"][0],
        strain=replace(CASES["cannot-reach"][0].strain, is_late=True),
    )
    watch = Watch().sees(cause, 900.0).shelves("cannot-reach", 3600.0).sees(cause, 900.0)
    assert watch.codes == ()
    assert watch.memory.states == {"cannot-reach": "shlvd", "late": "dsupr"}


@pytest.mark.parametrize("seen", [False, True])
def test_below_a_root_cause_it_is_suppressed_and_told_so_at_once(seen: bool) -> None:
    watch = Watch().sees(LATE)
    if seen:
        watch.acknowledges()
    tripped = replace(LATE, strain=replace(LATE.strain, trips=("beer-too-hot",)))
    watch.sees(tripped, 10.0)
    assert watch.state == "dsupr"
    assert watch.told[-1].text == "Quiet while tripped stands."
    watch.sees(LATE, 60.0)
    assert watch.state == "dsupr", "what was quiet waits its whole delay again"
    assert watch.sees(LATE, 10.0).state == "unack"


def test_what_was_suppressed_and_is_over_is_normal() -> None:
    tripped = replace(LATE, strain=replace(LATE.strain, trips=("beer-too-hot",)))
    watch = Watch().sees(tripped)
    assert watch.state == "dsupr"
    calm = replace(WELL, strain=replace(WELL.strain, trips=("beer-too-hot",)))
    assert watch.sees(calm, 80.0).state == "norm"
    assert watch.words == ["suppressed", "ended"]
    watch.sees(tripped).sees(LATE, 30.0).sees(WELL, 60.0)
    assert watch.state == "dsupr", "each way out has its own delay"
    assert watch.sees(WELL, 10.0).state == "norm"


def test_acknowledging_one_leaves_the_others() -> None:
    both = replace(LATE, now=Moment(0.0, 0.0, synced=False))
    watch = Watch().sees(both, 3700.0).acknowledges("clock-not-set")
    assert watch.memory.states == {"late": "unack", "clock-not-set": "acked"}


# What came first, and floods.


def test_the_one_that_came_first_is_named_until_all_is_normal() -> None:
    later = replace(
        LATE, evidence=replace(LATE.evidence, garage=CASES["garage-probe-lost"][0].evidence.garage)
    )
    watch = Watch().sees(LATE).sees(later)
    assert watch.codes == ("late", "garage-probe-lost")
    assert watch.memory.first_out == "late"
    watch.sees(WELL)
    assert watch.memory.first_out == "late", "nobody has seen it yet"
    assert watch.acknowledges().memory.first_out is None


def test_of_two_told_at_once_the_one_that_began_earlier_came_first() -> None:
    slow = replace(WELL, evidence=beer(33.9))
    watch = Watch().sees(slow, DRIFT_DELAY_S - 60.0)
    lost = replace(
        slow, evidence=replace(slow.evidence, garage=CASES["garage-probe-lost"][0].evidence.garage)
    )
    watch.sees(lost, 70.0)
    assert {each.code for each in watch.told} == {"beer-drifting", "garage-probe-lost"}
    assert watch.memory.first_out == "beer-drifting"


def fluttering(code: str) -> AlarmRule:
    return AlarmRule(
        code, Priority.MEDIUM, lambda s, _: s.strain.is_late, lambda _: "It flutters.", "Look.",
        on_delay_s=0.0, off_delay_s=0.0,
    )  # fmt: skip


def test_a_flood_becomes_one_summary_and_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    flood = next(rule for rule in RULES if rule.code == "alarm-flood")
    rules = (*(fluttering(f"a{number}") for number in range(10)), flood)
    silent = replace(fluttering("never"), holds=lambda *_: False)
    rules += (silent,) * (len(RULES) - len(rules))
    monkeypatch.setattr(alarms_module, "RULES", rules)
    monkeypatch.setattr("controller.decision.alarm_memory.RULES", rules)
    watch = Watch().sees(LATE, 10.0)
    raised = [each for each in watch.told if each.state == "raised"]
    assert len(raised) <= FLOOD_BEGINS_ABOVE + 2
    watch.sees(WELL, 10.0).sees(LATE, 10.0).sees(LATE, 10.0)
    summary = [each for each in watch.told if each.code == "alarm-flood"]
    assert [(each.state, each.priority) for each in summary] == [("raised", "high")]
    assert "alarms came within ten minutes" in summary[0].text
    assert "came first" in summary[0].remedy
    watch.told.clear()
    watch.sees(WELL, 10.0).sees(LATE, 10.0)
    again = [each for each in watch.told if each.state == "raised"]
    assert again and {each.priority for each in again} == {Priority.LOW}
    assert len(watch.memory.raised_mono_s) == 2 * FLOOD_BEGINS_ABOVE
    watch.told.clear()
    watch.sees(WELL, 700.0)
    assert [each.state for each in watch.told if each.code == "alarm-flood"] == ["cleared"]


# A target that moves.

MOVED = replace(
    WELL, evidence=beer(35.0), target=Target(20.0, 20.0),
    strain=Strain("holding", arrival_s=36_000.0),
)  # fmt: skip


def drift_of(watch: Watch) -> str:
    return watch.memory.states.get("beer-drifting", "norm")


def test_after_the_target_has_moved_drift_is_quiet_until_half_as_long_again() -> None:
    watch = Watch().sees(WELL).sees(MOVED, 54_000.0)
    assert drift_of(watch) == "dsupr"
    assert watch.told[-1].text == "Quiet until the beer should have arrived."
    assert watch.sees(MOVED, DRIFT_DELAY_S + 20.0).codes == ("beer-drifting",)


def test_what_can_never_arrive_is_told_after_its_usual_delay() -> None:
    stuck = replace(MOVED, strain=Strain("holding", arrival_s=None))
    assert Watch().sees(WELL).sees(stuck, DRIFT_DELAY_S + 20.0).codes == ("beer-drifting",)


def test_no_transition_is_expected_to_last_for_ever() -> None:
    slow = replace(MOVED, strain=Strain("holding", arrival_s=1e9))
    watch = Watch().sees(WELL).sees(slow, 10.0)
    assert watch.memory.expected_until_mono_s - watch.mono_s == 172_800.0


def test_once_arrived_a_new_drift_is_one() -> None:
    arrived = replace(MOVED, evidence=beer(20.2))
    watch = Watch().sees(WELL).sees(MOVED, 3600.0).sees(arrived, 60.0)
    away = replace(MOVED, evidence=beer(21.5))
    assert watch.sees(away, DRIFT_DELAY_S + 20.0).codes == ("beer-drifting",)


def test_a_ramp_is_no_move_and_a_target_first_seen_blind_is_judged_when_the_beer_is_seen() -> None:
    watch = Watch().sees(WELL)
    for tenth in range(1, 200):
        ramp = Target(35.0 - tenth / 100.0, 35.0 - tenth / 100.0)
        watch.sees(replace(WELL, target=ramp), 10.0)
    assert watch.sees(replace(DRIFTED, target=Target(33.0, 33.0)), 30.0).memory.aim_c == (
        33.0,
        33.0,
    )
    blind = Watch().sees(replace(MOVED, evidence=CASES["beer-probe-lost"][0].evidence), 30.0)
    assert blind.memory.aim_c is None
    assert drift_of(blind.sees(MOVED, 3600.0)) == "dsupr"
    assert blind.sees(replace(WELL, target=None), 10.0).memory.aim_c is None


def test_a_restart_restores_nothing_that_is_not_a_state() -> None:
    made = restored({"late": "nonsense"}, {"late": 5.0}, None, None, Moment(0.0, 0.0))
    assert made.states == {}
