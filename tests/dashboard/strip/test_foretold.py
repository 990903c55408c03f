"""What is reckoned stands on the curve as a dotted band, a dash and dot line and named brackets."""

from __future__ import annotations

import re

import pytest

from dashboard.strip import windows
from dashboard.strip.picture import CoursePoint, Window
from dashboard.web.render import STATIC
from tests.dashboard.strip.test_draw import (
    BUCKET_S,
    START_UTC_S,
    SVG,
    bucket,
    curve,
    root_of,
    runs_of,
)
from tests.dashboard.strip.test_windows import BATCH, HOUR, NOW

COURSE = tuple(
    CoursePoint(
        START_UTC_S + index * 10 * BUCKET_S,
        1.040 - wide,
        1.040 - index * 0.002,
        1.042 - index * 0.001,
    )
    for index, wide in enumerate((0.0, 0.004, 0.008, 0.012, 0.016, 0.020))
)


def of_class(root, name):
    return [each for each in root.iter() if each.get("class") == name]


def shown(**more):
    past = [bucket(index) for index in range(50)]
    now = {"now_utc_s": START_UTC_S + 50 * BUCKET_S, "course": COURSE}
    return root_of(curve(*past), **(now | more))


def test_the_band_encloses_its_middle_at_every_point():
    root = shown()
    (band,), (middle,) = of_class(root, "course-band"), of_class(root, "course")
    (edge,), (line,) = runs_of(band.get("d").removesuffix("z")), runs_of(middle.get("d"))
    heights = {x: sorted(y for at, y in edge if at == x) for x, _ in line}
    for x, y in line:
        assert heights[x][0] <= y <= heights[x][-1]
    assert band.get("d").endswith("z")


def test_the_middle_can_be_read_back_on_the_gravity_scale():
    root = shown()
    (lane,) = [
        each
        for each in root.iter(f"{SVG}svg")
        if each.find(f"{SVG}path[@class='course']") is not None
    ]
    (line,) = runs_of(lane.find(f"{SVG}path[@class='course']").get("d"))
    low, high = float(lane.get("data-low")), float(lane.get("data-high"))
    tall = float(lane.get("viewBox").split()[3])
    read = [low + (1 - y / tall) * (high - low) for _, y in line]
    assert read[0] == pytest.approx(1.040, abs=0.0002)
    assert read[-1] == pytest.approx(1.030, abs=0.0002)
    assert root.get("data-gravity") == "SG"


def test_what_lies_ahead_is_no_gap_and_now_is_marked():
    root = shown()
    assert of_class(root, "gap") == [] and len(of_class(root, "now")) == 1
    assert of_class(root, "now")[0].get("x1") == "50%"
    silent = shown(now_utc_s=START_UTC_S + 80 * BUCKET_S)
    (gap,) = of_class(silent, "gap")
    assert (gap.get("x"), gap.get("width")) == ("50%", "30%")


def test_a_window_is_a_bracket_with_its_name():
    due = Window(START_UTC_S + 60 * BUCKET_S, START_UTC_S + 90 * BUCKET_S, "dry hops", "Add <them>")
    root = shown(windows=(due,))
    (bracket,) = of_class(root, "window")
    assert bracket.find(f"{SVG}title").text == "Add <them>"
    lines = [(each.get("x1"), each.get("x2")) for each in bracket.iter(f"{SVG}line")]
    assert lines == [("60%", "90%"), ("60%", "60%"), ("90%", "90%")]
    assert "dry hops" in [each.text for each in root.iter(f"{SVG}text")]


def test_windows_outside_the_picture_are_left_out():
    past = Window(START_UTC_S - 900, START_UTC_S - 100, "old", "")
    far = Window(START_UTC_S + 200 * BUCKET_S, START_UTC_S + 300 * BUCKET_S, "far", "")
    assert of_class(shown(windows=(past, far)), "window") == []


def test_without_a_course_nothing_is_reckoned():
    root = root_of(curve(bucket(0), bucket(1)))
    assert of_class(root, "course") == [] and of_class(root, "course-band") == []


@pytest.mark.parametrize(
    ("end_h", "to_h"), [(20, 20), (500, 60.5), (0.5, None), (None, None)]
)  # fmt: skip
def test_the_window_looks_ahead_as_far_as_there_is_something_but_no_further_than_back(end_h, to_h):
    end_utc_s = None if end_h is None else NOW + end_h * HOUR
    found = windows.chosen({}, BATCH, NOW, end_utc_s)
    assert found.key == ("batch" if to_h is None else "ahead")
    assert found.to_utc_s == pytest.approx(NOW + (to_h or 0) * HOUR)
    assert windows.chosen({"window": "batch"}, BATCH, NOW, end_utc_s).to_utc_s == NOW


def test_every_look_is_told_apart_without_colour():
    text = (STATIC / "sheet.css").read_text()
    looks = {
        name: re.search(rf"^\.{name} {{[^}}]*stroke-dasharray: ([\d. ]+)", text, re.M)
        for name in ("target", "course", "course-band")
    }
    dashes = [found[1] for found in looks.values()]
    assert len(set(dashes)) == len(dashes) == 3
