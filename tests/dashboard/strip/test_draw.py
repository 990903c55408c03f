"""The picture is read back as XML: what stands where, and that a gap is a gap."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dashboard.facts import Bucket, Curve
from dashboard.sheet.units import Units
from dashboard.strip import draw, lines
from dashboard.strip import picture as pictures
from dashboard.strip.axis import Scale
from dashboard.strip.picture import GravityPoint, Mark, Picture

SVG = "{http://www.w3.org/2000/svg}"
START_UTC_S = 1_768_431_600.0
BUCKET_S = 600.0


def bucket(index: int, beer_c: float | None = 35.0, heat: float = 0.4, **more) -> Bucket:
    spread = None if beer_c is None else 0.2
    return Bucket(
        START_UTC_S + index * BUCKET_S,
        None if beer_c is None else beer_c - spread,
        beer_c,
        None if beer_c is None else beer_c + spread,
        more.get("garage_c", 4.0),
        more.get("target_c", 35.0),
        heat,
        more.get("fan", 0.0),
    )


def curve(*buckets: Bucket, count: int = 100) -> Curve:
    return Curve("left", START_UTC_S, START_UTC_S + count * BUCKET_S, BUCKET_S, buckets)


def root_of(shown: Curve, **more) -> ET.Element:
    picture = Picture(
        shown, "left, today", "words", units=Units(zone=ZoneInfo("Europe/Stockholm")), **more
    )
    text = draw.draw(picture).replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
    return ET.fromstring(text)


def runs_of(path: str) -> list[list[tuple[int, int]]]:
    """The absolute points of each run, as the page's script reads them."""
    found = []
    for part in path.split("M")[1:]:
        numbers = [int(each) for each in re.findall(r"-?\d+", part)]
        x, y = numbers[:2]
        points = [(x, y)]
        for dx, dy in zip(numbers[2::2], numbers[3::2], strict=True):
            x, y = x + dx, y + dy
            points.append((x, y))
        found.append(points)
    return found


def path_of(root: ET.Element, reads: str) -> str:
    return next(e for e in root.iter(f"{SVG}path") if e.get("data-reads") == reads).get("d")


def test_a_value_lies_where_its_scale_says():
    scale = Scale(30.0, 40.0, (30.0, 40.0))
    shown = curve(bucket(0, 30.0), bucket(1, 35.0), bucket(2, 40.0))
    path = lines.line(shown, lambda each: each.beer_mean_c, scale, 200)
    assert runs_of(path) == [[(1, 2000), (3, 1000), (5, 0)]]


def test_the_band_runs_along_the_high_and_back_along_the_low():
    scale = Scale(30.0, 40.0, ())
    shown = curve(bucket(0, 35.0), bucket(1, 36.0))
    path = lines.band(shown, lambda b: b.beer_low_c, lambda b: b.beer_high_c, scale, 100)
    assert runs_of(path) == [[(1, 480), (3, 380), (3, 420), (1, 520)]]
    assert path.endswith("z")


def test_a_level_stretch_costs_two_points():
    scale = Scale(30.0, 40.0, ())
    shown = curve(*(bucket(i) for i in range(90)))
    path = lines.line(shown, lambda each: each.target_c, scale, 200)
    assert runs_of(path) == [[(1, 1000), (179, 1000)]]


def test_a_stretch_without_ticks_is_hatched_and_not_bridged():
    shown = curve(*(bucket(i) for i in range(40)), *(bucket(i) for i in range(60, 100)))
    root = root_of(shown)
    runs = runs_of(path_of(root, "beer"))
    assert [(run[0][0], run[-1][0]) for run in runs] == [(1, 79), (121, 199)]
    (gap,) = [each for each in root.iter(f"{SVG}rect") if each.get("class") == "gap"]
    assert (gap.get("x"), gap.get("width")) == ("40%", "20%")
    assert any(each.text == "no readings" for each in root.iter(f"{SVG}text"))


def test_a_lost_probe_breaks_the_line_but_is_no_gap_in_what_was_heard():
    beers = [bucket(i, None if 40 <= i < 60 else 35.0) for i in range(100)]
    root = root_of(curve(*beers))
    assert len(runs_of(path_of(root, "beer"))) == 2
    assert len(runs_of(path_of(root, "garage"))) == 1
    assert not [each for each in root.iter(f"{SVG}rect") if each.get("class") == "gap"]


def test_silence_up_to_now_is_a_gap_too():
    root = root_of(curve(*(bucket(i) for i in range(50))))
    (gap,) = [each for each in root.iter(f"{SVG}rect") if each.get("class") == "gap"]
    assert (gap.get("x"), gap.get("width")) == ("50%", "50%")


def test_a_close_up_with_buckets_shorter_than_a_tick_has_no_gaps():
    buckets = tuple(
        Bucket(START_UTC_S + 10 * i, 34.9, 35.0, 35.1, 4.0, 35.0, 0.0, 0.0) for i in range(0, 90, 6)
    )
    shown = Curve("left", START_UTC_S, START_UTC_S + 900, 10.0, buckets)
    assert lines.gaps(shown) == []
    assert len(lines.runs(shown, lambda each: each.beer_mean_c)) == 1


def test_a_single_reading_between_two_gaps_can_be_seen():
    shown = curve(bucket(0), bucket(10), bucket(20))
    path = path_of(root_of(shown), "beer")
    assert path.count("M") == 3
    assert all(len(run) == 2 for run in runs_of(path))  # a point of no length, with round ends


def test_nothing_read_says_so():
    root = root_of(curve())
    assert any(each.text == "No readings in this time." for each in root.iter(f"{SVG}text"))
    assert not [each for each in root.iter(f"{SVG}path") if each.get("data-reads")]


def test_heat_stands_as_high_as_its_share_of_the_time():
    root = root_of(curve(bucket(0, heat=1.0), bucket(1, heat=0.5), bucket(2, heat=0.0)))
    ((*points,),) = runs_of(path_of(root, "heat"))
    floor = pictures.HEAT.height_px * lines.UNITS_PER_PIXEL
    assert points[:5] == [(0, floor), (0, 0), (2, 0), (2, floor // 2), (4, floor // 2)]
    assert points[-1][1] == floor


def test_an_idle_fan_draws_nothing():
    root = root_of(curve(bucket(0), bucket(1)))
    assert "fan" not in {each.get("data-reads") for each in root.iter(f"{SVG}path")}


def test_gravities_have_a_scale_of_their_own_on_the_right():
    points = (
        GravityPoint(START_UTC_S + 10 * BUCKET_S, 1.050),
        GravityPoint(START_UTC_S + 90 * BUCKET_S, 1.010),
    )
    root = root_of(curve(*(bucket(i) for i in range(100))), gravities=points)
    diamonds = [each for each in root.iter(f"{SVG}svg") if each.get("class") == "point"]
    assert [each.get("x") for each in diamonds] == ["10%", "90%"]
    assert [int(each.get("y")) for each in diamonds] == [
        pictures.BEER.top_px,
        pictures.BEER.floor_px,
    ]
    right = [e.text for e in root.iter(f"{SVG}text") if e.get("x") == "100%" and e.get("dx")]
    assert right == ["1.010", "1.020", "1.030", "1.040", "1.050"]


def test_marks_outside_the_window_are_left_out_and_close_ones_share_their_room():
    marks = (
        Mark(START_UTC_S - 10, "too early"),
        Mark(START_UTC_S + BUCKET_S, "pitched"),
        Mark(START_UTC_S + 2 * BUCKET_S, "step 2"),
    )
    root = root_of(curve(*(bucket(i) for i in range(100))), marks=marks)
    drawn = [each for each in root.iter(f"{SVG}line") if each.get("class") == "mark"]
    assert [each.find(f"{SVG}title").text for each in drawn] == ["pitched", "step 2"]
    texts = [each.text for each in root.iter(f"{SVG}text")]
    assert "pitched" in texts and "step 2" not in texts


def test_it_can_be_read_without_being_seen_and_names_are_escaped():
    shown = Curve("left", START_UTC_S, START_UTC_S + 600, 60.0, ())
    text = draw.draw(Picture(shown, "a<b & c", "less < more"))
    root = ET.fromstring(text.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1))
    assert root.get("role") == "img"
    named = {each.get("id"): each.text for each in root if each.get("id")}
    assert [named[i] for i in root.get("aria-labelledby").split()] == ["a<b & c", "less < more"]


def test_no_style_stands_in_the_picture_because_the_page_forbids_it():
    marks = (Mark(START_UTC_S + 600, "pitched"),)
    text = draw.draw(Picture(curve(*(bucket(i) for i in range(100))), "t", "d", marks))
    assert "style=" not in text and "<style" not in text


def test_the_offsets_follow_the_clocks_into_summer():
    # Source: Directive 2000/84/EC: summer time begins at 01:00 UTC on the last Sunday in March.
    start = 1_774_720_800.0  # 2026-03-28 18:00 UTC
    shown = Curve("left", start, start + 86_400, 600.0, ())
    text = draw.draw(Picture(shown, "t", "d", units=Units(zone=ZoneInfo("Europe/Stockholm"))))
    changes = re.search(r'data-offsets="([^"]*)"', text).group(1)
    assert changes == "1774720800:3600,1774746000:7200"


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.integers(0, 99),
            st.none() | st.floats(-20, 60),
            st.floats(0, 1),
            st.none() | st.floats(-30, 50),
        ),
        max_size=100,
        unique_by=lambda row: row[0],
    )
)
def test_any_history_gives_a_picture_whose_points_stay_in_their_lanes(rows):
    buckets = [
        bucket(i, beer, heat, garage_c=garage, target_c=garage)
        for i, beer, heat, garage in sorted(rows, key=lambda row: row[0])
    ]
    root = root_of(curve(*buckets))
    for lane in root.iter(f"{SVG}svg"):
        if not lane.get("viewBox"):
            continue
        width, height = (int(each) for each in lane.get("viewBox").split()[2:])
        for path in lane.iter(f"{SVG}path"):
            for x, y in (point for run in runs_of(path.get("d")) for point in run):
                assert 0 <= x <= width and 0 <= y <= height


def test_a_week_of_a_thousand_restless_points_stays_small():
    import gzip
    import random

    chance = random.Random(7)
    buckets = [
        bucket(i, 35 + chance.gauss(0, 0.1), chance.random(), garage_c=chance.gauss(2, 3))
        for i in range(1000)
    ]
    text = draw.draw(Picture(curve(*buckets, count=1000), "t", "d"))
    assert len(gzip.compress(text.encode())) < 20_000


@pytest.mark.parametrize("hours", [0.25, 6, 24, 72, 24 * 7, 24 * 60])
def test_no_window_has_more_times_than_a_page_has_room_for(hours):
    shown = Curve("left", START_UTC_S, START_UTC_S + hours * 3600, 600.0, ())
    root = root_of(shown, pitched_utc_s=START_UTC_S - 3600)
    for y in (pictures.CLOCK_Y_PX, pictures.PITCH_Y_PX):
        row = [each for each in root.iter(f"{SVG}text") if each.get("y") == str(y)]
        assert 2 <= len(row) <= 9
        assert sum("wide" not in each.get("class") for each in row) <= 5
