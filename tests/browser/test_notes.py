"""A brewer at the log: dry hops in and out, taken back, corrected; and a reader in other units."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from dashboard.facts import NoteKind
from tests.browser.states import NOW_UTC_S

PHONE = {"width": 320, "height": 640}


def note(page: Page, what: str, when: str, words: str) -> None:
    page.get_by_label("What", exact=True).select_option(what)
    page.get_by_label("When").fill(when)
    page.get_by_label("Words").fill(words)
    page.get_by_role("button", name="Note it").click()


@pytest.mark.parametrize("with_script", [True, False])
def test_dry_hops_go_in_come_out_and_the_last_press_is_taken_back(visit, with_script):
    page, scene = visit("holding", java_script_enabled=with_script, viewport=PHONE)
    note(page, "Dry hops in", "2026-01-14T20:00", "60 g in a bag")
    notes = page.locator("#notes .events")
    expect(notes).to_contain_text("Dry hops in: 60 g in a bag")
    expect(page.locator("#plot title", has_text="hops in: 60 g in a bag")).to_have_count(1)

    note(page, "Dry hops out", "2026-01-14T23:50", "")
    expect(notes.get_by_role("listitem")).to_have_count(2)
    expect(page.locator(".undo")).to_contain_text("Wrote down dry hops out of Wednesday 23:50.")

    page.get_by_role("button", name="Take it back").click()
    expect(notes.get_by_role("listitem")).to_have_count(1)
    expect(page.locator("#plot title", has_text="hops out")).to_have_count(0)
    (kept,) = scene.store.notes(1)
    assert (kept.kind, kept.at_utc_s) == (NoteKind.DRY_HOP_IN, NOW_UTC_S - 4 * 3600)

    page.get_by_label("Change the note of Wednesday 20:00").click()
    page.get_by_label("Words").fill("75 g in a bag")
    page.get_by_role("button", name="Keep it so").click()
    expect(notes).to_contain_text("75 g in a bag")
    page.get_by_label("Change the note of Wednesday 20:00").click()
    expect(page.locator("#main")).to_contain_text("Corrected what was dry hops in: 60 g in a bag")


def test_hops_out_that_were_never_in_are_asked_about(visit):
    page, scene = visit("holding")
    note(page, "Dry hops out", "2026-01-14T23:50", "")
    expect(page.get_by_text("No dry hops were in then.")).to_be_visible()
    page.get_by_label("It is right; keep it as typed.").check()
    page.get_by_role("button", name="Note it").click()
    assert len(scene.store.notes(1)) == 1


@pytest.mark.parametrize("with_script", [True, False])
def test_a_reader_chooses_units_and_everything_is_in_them(visit, with_script):
    page, scene = visit("holding", java_script_enabled=with_script)
    page.get_by_role("link", name="Units and time").click()
    page.get_by_label("°F").check()
    page.get_by_label("°P").check()
    page.get_by_label("US gallons").check()
    page.get_by_label("Time zone").fill("America/Chicago")
    page.get_by_role("button", name="Keep these").click()
    expect(page.get_by_role("status")).to_contain_text("Wed 17:00")
    page.goto(page.url.replace("preferences?kept=yes", "chambers/garage-left"))
    expect(page.locator("#now")).to_contain_text("94.9\u00a0°F, on target since Monday 10:10")
    assert "°C" not in page.locator("#main").inner_text()
    if with_script:
        page.get_by_label("Read the curve at").fill("500")
        expect(page.locator("#read")).to_have_text(
            re.compile(r"\w+ \d\d:\d\d: beer 95\.\d °F, target 95\.0 °F, garage \d\d\.\d °F")
        )
    page.get_by_label("Gravity read", exact=True).fill("2.6")
    page.get_by_label("Sample").fill("91.4")
    page.get_by_label("Taken at").fill("2026-01-14T16:30")
    page.get_by_role("button", name="Write it down").click()
    expect(page.locator(".readings")).to_contain_text("2.6 °P at 91.4")
    kept = scene.store.gravities(1)[-1]
    assert kept.sample_c == pytest.approx(33.0) and kept.taken_utc_s == NOW_UTC_S - 1800


@pytest.mark.parametrize("path", ["/entries/gravity/1", "/../../preferences"])
def test_the_other_leaves_fit_the_smallest_phone(visit, path):
    page, _ = visit("holding", path, viewport=PHONE)
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
