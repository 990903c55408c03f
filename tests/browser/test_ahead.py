"""A person at what comes next: ticking off, planning a packaging day, keeping a report."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from dashboard.facts import NoteKind

PHONE = {"width": 320, "height": 640}


@pytest.mark.parametrize("with_script", [True, False])
def test_hops_go_in_are_written_down_and_the_limit_appears(visit, with_script):
    page, scene = visit("to-be-hopped", viewport=PHONE, java_script_enabled=with_script)
    expect(page.locator("#now")).to_contain_text("Two thirds done tomorrow morning")
    page.get_by_role("button", name="Add the dry hops: They are in").click()
    coming = page.get_by_role("region", name="What comes next")
    expect(coming).to_contain_text("They have been in for 0 h; the limit set is 72 h.")
    assert [each.kind for each in scene.store.notes(1)] == [NoteKind.DRY_HOP_IN]


def test_what_was_left_out_by_mistake_is_put_back(visit):
    page, _ = visit("to-be-hopped")
    coming = page.get_by_role("region", name="What comes next")
    page.get_by_role("button", name="Add the dry hops: leave it out").click()
    expect(coming.locator(".coming")).not_to_contain_text("Add the dry hops")
    coming.get_by_text("Ticked off").click()
    page.get_by_role("button", name="Put back: Add the dry hops").click()
    expect(coming.locator(".coming")).to_contain_text("Add the dry hops")


def test_another_packaging_day_is_looked_at_without_script(visit):
    page, _ = visit("packaging-day", java_script_enabled=False)
    page.get_by_label("What of another day").select_option("2026-01-21")
    page.get_by_role("button", name="Look at it").click()
    expect(page.get_by_role("heading", name="Wednesday 21 January")).to_be_visible()
    expect(page.get_by_role("row", name=re.compile("Second runnings"))).to_contain_text("%")


def test_the_report_is_kept_as_one_file_that_shows_all_of_it_alone(visit, browser, tmp_path):
    page, _ = visit("report")
    with page.expect_download() as kept:
        page.get_by_role("link", name="Keep it as one file").click()
    file = tmp_path / "kept.html"
    kept.value.save_as(file)
    assert kept.value.suggested_filename == "farmhouse-pale-1.html"
    alone = browser.new_page(offline=True)
    asked: list[str] = []
    alone.on("request", lambda request: asked.append(request.url))
    alone.goto(file.as_uri())
    expect(alone.get_by_role("img", name=re.compile("garage-left"))).to_be_visible()
    tasting = alone.get_by_role("region", name="Tasting")
    expect(tasting).to_contain_text("Peach & <b>pepper</b>, a little grassy.")
    assert asked == [file.as_uri()]
    alone.close()


def test_the_reckoned_gravity_is_read_from_the_curve(visit):
    page, _ = visit("to-be-hopped")
    page.locator("#cursor").fill("900")
    expect(page.locator("#read")).to_contain_text(re.compile(r"gravity about 1\.0\d\d"))


def test_a_batch_reaches_its_account_packaging_report_and_comparison(visit):
    page, _ = visit("hopped")
    for name, heading in (
        ("The hours", "How long it took, and why"),
        ("Packaging", "Packaging"),
        ("Report", "Farmhouse pale"),
        ("Compare", "Batches compared"),
    ):
        page.get_by_role("region", name="How long, and why").get_by_role("link", name=name).click()
        expect(page.get_by_role("heading", level=1)).to_contain_text(heading)
        page.go_back()
