"""What comes next, when, and why; ticked off, late, and across batches."""

from __future__ import annotations

from dataclasses import replace

import pytest

from controller.beerjson import Profile, Step
from dashboard.facts import Note, NoteKind
from dashboard.fermentation.advice.agenda import agenda, agenda_of_all, alerts_between, ready_moment
from dashboard.fermentation.advice.hops import additions, contact_h, newest_hop_hour
from dashboard.fermentation.advice.items import HopAddition, Kind, Settled, Urgency
from tests.dashboard.fermentation.advice.views import TWO_THIRDS_H, at, view_at


def only(items, kind):
    (found,) = [each for each in items if each.kind is kind]
    return found


def kinds(items):
    return [each.kind for each in items]


def test_a_young_batch_has_its_whole_way_before_it_in_order():
    items = agenda(view_at(10, (10,)), at(10))
    assert kinds(items) == [Kind.READING, Kind.DRY_HOP, Kind.TERMINAL, Kind.PACKAGE]
    for item in items:
        assert item.from_utc_s <= item.due_utc_s <= item.to_utc_s
        assert item.reason.endswith(".") and item.title
        assert item.key.startswith("1-")


def test_the_dry_hop_window_holds_the_true_point():
    item = only(agenda(view_at(20, (10, 20)), at(20)), Kind.DRY_HOP)
    assert item.from_utc_s < at(TWO_THIRDS_H) < item.to_utc_s
    assert "Two thirds of the drop" in item.reason and "1.02" in item.reason
    assert item.alerts == (item.from_utc_s, item.due_utc_s)


@pytest.mark.parametrize(
    ("hour", "urgency"), [(8, Urgency.LATER), (24, Urgency.SOON), (60, Urgency.LATE)]
)
def test_the_dry_hop_grows_urgent(hour, urgency):
    item = only(agenda(view_at(hour, (hour / 2, hour)), at(hour)), Kind.DRY_HOP)
    assert item.urgency is urgency
    assert ("already" in item.reason) is (urgency is Urgency.LATE)


def test_hops_that_are_in_ask_to_come_out_and_to_go_in_no_more():
    hops = (HopAddition(7, at(34)),)
    items = agenda(view_at(40, (12, 24, 36), hops=hops), at(40))
    assert Kind.DRY_HOP not in kinds(items)
    item = only(items, Kind.HOPS_OUT)
    assert item.key == "1-hops-out-7"
    assert item.due_utc_s == at(34 + 72)
    assert item.alerts == (at(34 + 60), at(34 + 72), at(34 + 96))


@pytest.mark.parametrize(
    ("since_h", "urgency", "words"),
    [
        (10, Urgency.LATER, "10 h; the limit set is 72 h."),
        (65, Urgency.SOON, "Only 7 h left"),
        (72, Urgency.NOW, "72 h"),
        (80, Urgency.LATE, "8 h too long"),
        (800, Urgency.LATE, "tick this off"),
    ],
)
def test_the_warning_before_and_after_the_limit(since_h, urgency, words):
    hops = (HopAddition(7, at(34)),)
    now = at(34 + since_h)
    item = only(agenda(view_at(34 + since_h, (12, 24, 36), hops=hops), now), Kind.HOPS_OUT)
    assert item.urgency is urgency and words in item.reason


def test_the_brewers_own_limit_counts():
    hops = (HopAddition(7, at(34), limit_h=48.0),)
    item = only(agenda(view_at(60, (12, 24, 36), hops=hops), at(60)), Kind.HOPS_OUT)
    assert item.due_utc_s == at(82) and "48 h" in item.reason


def test_hops_taken_out_ask_nothing_and_keep_their_hours():
    hops = HopAddition(7, at(34), at(80))
    assert Kind.HOPS_OUT not in kinds(agenda(view_at(90, (12, 24, 36), hops=(hops,)), at(90)))
    assert contact_h(hops, at(500)) == pytest.approx(46.0)
    assert contact_h(HopAddition(7, at(34)), at(30)) == 0.0
    assert newest_hop_hour((hops, HopAddition(8, at(50))), at(0)) == pytest.approx(50.0)
    assert newest_hop_hour((), at(0)) is None


def test_hops_are_read_from_the_notes_and_out_ends_all_that_are_in():
    notes = [
        Note(3, 1, at(60), NoteKind.DRY_HOP_OUT),
        Note(1, 1, at(30), NoteKind.DRY_HOP_IN, "50 g"),
        Note(2, 1, at(40), NoteKind.DRY_HOP_IN),
        Note(4, 1, at(70), NoteKind.DRY_HOP_IN),
        Note(5, 1, at(71), NoteKind.TASTING, "green"),
    ]
    assert additions(notes, 48.0) == (
        HopAddition(1, at(30), at(60), 48.0),
        HopAddition(2, at(40), at(60), 48.0),
        HopAddition(4, at(70), None, 48.0),
    )


def test_what_was_ticked_off_is_gone():
    view = view_at(10, (10,), settled={"1-dry-hop": Settled.SKIPPED, "1-reading-1": Settled.DONE})
    assert kinds(agenda(view, at(10))) == [Kind.TERMINAL, Kind.PACKAGE]


def test_a_batch_without_dry_hops_is_not_asked_for_them():
    assert Kind.DRY_HOP not in kinds(agenda(view_at(10, (10,), is_dry_hopped=False), at(10)))


def test_an_ended_batch_has_nothing_to_do():
    view = view_at(10, (10,))
    assert agenda(replace(view, batch=replace(view.batch, ended_utc_s=at(9))), at(10)) == ()


def test_the_next_reading_has_a_key_that_changes_with_each_reading():
    first = only(agenda(view_at(8, (8,)), at(8)), Kind.READING)
    second = only(agenda(view_at(14, (8, 14)), at(14)), Kind.READING)
    assert (first.key, second.key) == ("1-reading-1", "1-reading-2")
    assert "%" in first.reason


def test_near_the_end_the_reading_asked_for_is_the_missing_proof():
    view = view_at(80, (12, 24, 36, 60))
    item = only(agenda(view, at(80)), Kind.READING)
    assert item.due_utc_s >= at(80)
    assert "24 h" in item.reason


def test_a_finished_batch_is_packaged_now():
    view = view_at(120, (12, 24, 36, 80, 92, 110), is_dry_hopped=False)
    assert view.verdict.is_terminal
    items = agenda(view, at(120))
    assert kinds(items) == [Kind.PACKAGE]
    item = only(items, Kind.PACKAGE)
    assert item.urgency is Urgency.NOW and "proved" in item.reason


def test_hops_to_come_put_packaging_off_by_their_time():
    hopped, plain = (view_at(20, (10, 20), is_dry_hopped=each) for each in (True, False))
    late, early = (ready_moment(each, at(20)) for each in (hopped, plain))
    assert late.middle_h == pytest.approx(hopped.forecast.two_thirds.middle_h + 72.0)
    assert late.middle_h > early.middle_h == plain.forecast.ready.middle_h


def test_hops_put_off_packaging_until_they_are_out_and_the_proof_is_made_again():
    hops = (HopAddition(7, at(100)),)
    view = view_at(120, (12, 24, 36, 80, 92, 110), hops=hops)
    assert not view.verdict.is_terminal
    assert ready_moment(view, at(120)).low_h == pytest.approx(172.0)
    out = view_at(120, (12, 24, 36, 80, 92, 110), hops=(HopAddition(7, at(100), at(119)),))
    assert ready_moment(out, at(120)).low_h == pytest.approx(124.0)


STEPS = Profile(
    "x",
    (
        Step("Pitch", 33.0, 33.0, 6 * 3600.0),
        Step("Rise", 33.0, 36.0, 12 * 3600.0),
        Step("Until a gravity", 36.0, 36.0, 100 * 3600.0, 1.020),
        Step("Cool", 20.0, 20.0, None),
    ),
)


def test_steps_are_announced_by_the_clock_and_by_the_gravity():
    view = view_at(4, (4,), profile=STEPS)
    rise, cool = [each for each in agenda(view, at(4)) if each.kind is Kind.STEP]
    assert (rise.key, rise.title, rise.due_utc_s) == ("1-step-2", "Rise", at(6))
    assert "rises from 33 to 36" in rise.reason
    assert cool.title == "Cool" and "falls from 36 to 20" in cool.reason
    assert at(24) < cool.due_utc_s < at(118), "the gravity comes before the 100 hours"


def test_a_step_that_is_past_is_not_announced():
    steps = [e for e in agenda(view_at(20, (10, 20), profile=STEPS), at(20)) if e.kind is Kind.STEP]
    assert [each.title for each in steps] == ["Cool"]


def test_an_alert_falls_due_once_in_its_stretch_of_time():
    hops = (HopAddition(7, at(34)),)
    items = agenda(view_at(90, (12, 24, 36), hops=hops), at(90))
    told = [alerts_between(items, at(hour), at(hour + 1)) for hour in range(90, 135)]
    names = [name for each in told for name, item in each if item.kind is Kind.HOPS_OUT]
    assert names == ["1-hops-out-7/0", "1-hops-out-7/1", "1-hops-out-7/2"]


def test_one_list_across_batches_has_what_is_late_first():
    late = view_at(120, (12, 24, 36), number=2, name="Snow", hops=(HopAddition(1, at(34)),))
    early = view_at(10, (10,))
    items = agenda_of_all([early, late], at(120))
    assert items[0].kind is Kind.HOPS_OUT and items[0].batch_name == "Snow"
    assert len({each.key for each in items}) == len(items)
