"""The pages over a real store, asked as a browser asks; and everything the guard must refuse."""

from __future__ import annotations

import asyncio
import gzip
import re
from dataclasses import replace

import httpx
import pytest
from starlette.applications import Starlette

from dashboard.foresight import Foresight
from dashboard.live import LiveHub
from dashboard.settings import settings_of
from dashboard.sheet.units import Units
from dashboard.store import Store
from dashboard.web import guard
from dashboard.web.app import Beside, create_app
from dashboard.web.pages import Pages
from dashboard.web.render import renderer
from dashboard.web.stream import STREAMS_MAX, Fresh, Streams, frame
from tests.browser.served import ZONE
from tests.browser.states import NOW_UTC_S, STATES, Scene, holding, several, warming

HERE = "http://127.0.0.1:8124"
OWN = {"origin": HERE}
GRAVITY = {
    "batch": "1", "entered": "9.2", "unit": "plato", "sample": "35", "calibrated": "20",
    "taken": "2026-01-14T23:30",
}  # fmt: skip


class Client:
    """Asks the application as a browser would, one request at a time."""

    def __init__(self, app: Starlette) -> None:
        self._transport = httpx.ASGITransport(app)

    def ask(self, method: str, path: str, **more) -> httpx.Response:
        async def asked() -> httpx.Response:
            async with httpx.AsyncClient(transport=self._transport, base_url=HERE) as client:
                return await client.request(method, path, **more)

        return asyncio.run(asked())

    def get(self, path: str, **more) -> httpx.Response:
        return self.ask("GET", path, **more)

    def post(self, path: str, **more) -> httpx.Response:
        """A form sent from a page of ours: it brings back the page's seal."""
        page = self.get("/preferences").text
        seal = re.search(r'name="seal" value="(\w+)"', page)[1]
        data = more.pop("data", None)
        if data is not None:
            more["data"] = {"seal": seal} | data
        else:
            more["headers"] = {"x-barmkeep-seal": seal} | more.get("headers", {})
        return self.ask("POST", path, **more)


@pytest.fixture
def scene(tmp_path):
    made = Scene(Store.open(tmp_path / "store.sqlite"), LiveHub())
    yield made
    made.store.close()


def client_of(scene: Scene, **more) -> Client:
    settings = settings_of('[store]\npath = "x"\n[web]\nnames = ["barm.lan"]\n')
    app = create_app(scene.store, scene.hub, settings, lambda: scene.now_utc_s, ZONE, **more)
    return Client(app)


@pytest.mark.parametrize("state", STATES)
def test_every_state_has_a_page(scene, state):
    path = STATES[state](scene)
    answer = client_of(scene).get(path)
    assert answer.status_code == 200 and "independent thermal cut-out" in answer.text


def test_the_first_page_says_one_sentence_of_each_chamber(scene):
    several(scene)
    text = client_of(scene).get("/").text.replace("\u00a0", " ")
    assert text.count('class="sentence"') == 3
    assert "Day 2. 32.6 °C, warming to 35.0 °C, 2.4 °C to go. Heat is on." in text
    assert "Soon:</strong> In a garage as cold as this" in text


def test_a_chamber_says_where_its_beer_is(scene):
    holding(scene)
    text = client_of(scene).get("/chambers/garage-left").text.replace("\u00a0", " ")
    assert "Day 3. 34.9 °C, on target since Monday 17:10." in text
    assert "88 % of the expected drop is done" in text
    assert "Hot kveik: step 2 of 3, hold until two thirds." in text


def test_own_trouble_is_told(scene):
    warming(scene)
    page = client_of(scene, beside=Beside(trouble=lambda: "The broker is not there.")).get("/").text
    assert "This page hears nothing new:</strong> The broker is not there." in page


def test_a_gravity_is_written_down_and_answered_with_a_redirect(scene):
    warming(scene)
    client = client_of(scene)
    answer = client.post("/chambers/garage-left/gravity", data=GRAVITY, headers=OWN)
    assert (answer.status_code, answer.headers["location"]) == (
        303, "/chambers/garage-left#gravity",
    )  # fmt: skip
    (kept,) = scene.store.gravities(1)
    assert (kept.entered, kept.sample_c, kept.taken_utc_s) == (9.2, 35.0, NOW_UTC_S - 1800)
    page = client.get("/chambers/garage-left").text
    assert "9.2 °P at 35.0" in page and "1.041" in page  # 1.0368 as shown, some 5 points warmer


def test_a_slip_comes_back_with_everything_that_was_typed(scene):
    warming(scene)
    typed = GRAVITY | {"entered": "10.48", "unit": "sg", "sample": "31,5"}
    answer = client_of(scene).post("/chambers/garage-left/gravity", data=typed, headers=OWN)
    assert answer.status_code == 422 and scene.store.gravities(1) == ()
    assert "Probably SG 1.048 was meant" in answer.text
    assert 'value="10.48"' in answer.text and 'value="31,5"' in answer.text


def test_what_is_typed_is_shown_as_text_whatever_it_is(scene):
    warming(scene)
    typed = GRAVITY | {"entered": '"><script>alert(1)</script>'}
    answer = client_of(scene).post("/chambers/garage-left/gravity", data=typed, headers=OWN)
    assert "<script>alert" not in answer.text and "&lt;script&gt;" in answer.text


def test_a_reading_for_a_batch_that_is_gone_is_refused(scene):
    warming(scene)
    typed = GRAVITY | {"batch": "99"}
    answer = client_of(scene).post("/chambers/garage-left/gravity", data=typed, headers=OWN)
    assert answer.status_code == 409 and "nothing was written down" in answer.text


def test_a_reading_can_be_struck_out_once(scene):
    holding(scene)
    client = client_of(scene)
    struck = {"reading": str(scene.store.gravities(1)[0].id)}
    path = "/chambers/garage-left/gravity/strike"
    assert client.post(path, data=struck, headers=OWN).status_code == 303
    assert len(scene.store.gravities(1)) == 3
    assert client.post(path, data=struck, headers=OWN).status_code == 409


def test_the_next_batch_ends_the_one_before(scene):
    holding(scene)
    typed = {
        "name": "Second <runnings>", "pitched": "2026-01-14T23:00", "strain": "kveik",
        "volume": "20", "unit": "plato", "original": "11", "expected": "",
    }  # fmt: skip
    client = client_of(scene)
    answer = client.post("/chambers/garage-left/batch", data=typed, headers=OWN)
    assert answer.headers["location"] == "/chambers/garage-left"
    second, first = scene.store.batches("garage-left")
    assert first.ended_utc_s == second.pitched_utc_s == NOW_UTC_S - 3600
    assert "Second &lt;runnings&gt;" in client.get("/chambers/garage-left").text


def test_a_batch_pitched_before_the_running_one_is_refused(scene):
    holding(scene)
    typed = {
        "name": "Older", "pitched": "2026-01-01T20:00", "strain": "kveik", "volume": "20",
        "unit": "sg", "original": "1.050", "expected": "1.010",
    }  # fmt: skip
    answer = client_of(scene).post("/chambers/garage-left/batch", data=typed, headers=OWN)
    assert answer.status_code == 422 and "That is before Farmhouse pale" in answer.text
    assert len(scene.store.batches("garage-left")) == 1


def test_the_curve_alone_and_as_a_table(scene):
    holding(scene)
    client = client_of(scene)
    part = client.get("/chambers/garage-left?window=day&part=curve").text
    assert part.startswith('<div id="curve"') and "<html" not in part
    table = client.get("/chambers/garage-left?window=day&view=table").text
    assert table.count('<th scope="row">') > 30 and 'id="plot"' not in table


def test_an_unknown_chamber_and_an_unknown_page_say_what_to_do(scene):
    client = client_of(scene)
    for path in ("/chambers/nowhere", "/chambers/nowhere/stream", "/nonsense"):
        answer = client.get(path)
        assert answer.status_code == 404 and "begin at all chambers" in answer.text


def test_a_page_stays_small(scene):
    holding(scene)
    client = client_of(scene)
    paths = ("/chambers/garage-left?window=batch", "/static/sheet.css", "/static/sheet.js")
    assert sum(len(gzip.compress(client.get(path).content, 6)) for path in paths) < 50_000
    answer = client.get(paths[0], headers={"accept-encoding": "gzip"})
    assert answer.headers["content-encoding"] == "gzip"


# The guard.


def test_every_answer_carries_the_headers(scene):
    client = client_of(scene)
    for path in ("/", "/static/sheet.css", "/nonsense"):
        headers = client.get(path).headers
        assert {name: headers[name] for name in guard.HEADERS} == guard.HEADERS
    assert "unsafe" not in guard.HEADERS["content-security-policy"]


@pytest.mark.parametrize(
    ("host", "status"),
    [
        ("127.0.0.1:8124", 200), ("localhost", 200), ("[::1]:8124", 200), ("BARM.lan:80", 200),
        ("evil.example", 421), ("127.0.0.1.evil.example", 421), ("", 421), ("[::2]", 421),
    ],
)  # fmt: skip
def test_only_our_own_names_are_answered(scene, host, status):
    assert client_of(scene).get("/", headers={"host": host}).status_code == status


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"origin": "null"},
        {"origin": "http://evil.example"},
        {"origin": "http://127.0.0.1:9999"},
        {"origin": "https://127.0.0.1:8124"},
        {"origin": HERE, "sec-fetch-site": "cross-site"},
        {"origin": HERE, "sec-fetch-site": "same-site"},
        {"sec-fetch-site": "same-origin"},
    ],
)
def test_a_foreign_form_is_refused(scene, headers):
    warming(scene)
    client = client_of(scene)
    answer = client.post("/chambers/garage-left/gravity", data=GRAVITY, headers=headers)
    assert answer.status_code == 403 and scene.store.gravities(1) == ()


async def in_pieces():
    for _ in range(100):
        yield b"x" * 1000


def test_a_body_longer_than_a_form_is_refused_whatever_its_header_says(scene):
    warming(scene)
    client = client_of(scene)
    long = {**GRAVITY, "entered": "1" * guard.BODY_BYTES_MAX}
    path = "/chambers/garage-left/gravity"
    assert client.post(path, data=long, headers=OWN).status_code == 413
    form = {"content-type": "application/x-www-form-urlencoded"}
    answer = client.post(path, content=in_pieces(), headers=OWN | form)
    assert "content-length" not in answer.request.headers and answer.status_code == 413


def test_a_method_that_is_not_offered_is_refused(scene):
    assert client_of(scene).ask("PUT", "/", headers=OWN).status_code == 405


# The stream.


def pages_of(scene: Scene) -> Pages:
    return Pages(
        scene.store,
        scene.hub,
        Foresight(scene.store),
        renderer(),
        lambda: scene.now_utc_s,
        20.0,
        Units(zone=ZONE),
    )


async def read(streams: Streams, make, count: int, chamber: str | None = None) -> list[str]:
    found = []
    async for piece in streams._frames(make, chamber):
        found.append(piece)
        if len(found) == count:
            break
    return found


def test_a_stream_begins_with_all_there_is(scene):
    warming(scene)
    fresh = Fresh("b1:7", "35.0 °C", "<p>\n\nDay 1.</p>")
    streams = Streams(scene.hub)
    first, second = asyncio.run(read(streams, lambda: fresh, 2))
    assert first.startswith("retry: ")
    assert second == (
        "event: title\ndata: 35.0 °C\n\nevent: now\nid: b1:7\ndata: <p>\ndata: Day 1.</p>\n\n"
    )


def test_nothing_new_is_a_comment_and_a_new_tick_only_its_part():
    fresh = Fresh("b1:7", "35.0 °C", "<p>1</p>")
    assert frame(fresh, fresh) == ": nothing new\n\n"
    assert frame(replace(fresh, identity="b1:8", html="<p>2</p>"), fresh) == (
        "event: now\nid: b1:8\ndata: <p>2</p>\n\n"
    )


def test_a_tick_of_another_chamber_wakes_nobody(scene):
    warming(scene)
    made = []

    async def watch() -> None:
        streams = Streams(scene.hub)
        task = asyncio.ensure_future(
            read(streams, lambda: made.append(1) or Fresh("1", "t", "h"), 4, "elsewhere")
        )
        await asyncio.sleep(0.6)
        scene.hub.heard(scene.hub.newest("garage-left").tick, NOW_UTC_S, False)
        await asyncio.sleep(0.6)
        assert len(made) == 1
        streams.close()
        await asyncio.wait_for(task, 2)

    asyncio.run(watch())


def test_streams_end_when_they_are_closed_and_none_opens_after(scene):
    async def watch() -> None:
        streams = Streams(scene.hub)
        task = asyncio.ensure_future(read(streams, lambda: Fresh("1", "t", "h"), 99))
        await asyncio.sleep(0.6)
        streams.close()
        await asyncio.wait_for(task, 2)
        answer = await streams.answer(lambda: Fresh("1", "t", "h"), None)
        assert answer.status_code == 503

    asyncio.run(watch())


def test_streams_are_few(scene):
    async def watch() -> None:
        streams = Streams(scene.hub)
        tasks = [
            asyncio.ensure_future(read(streams, lambda: Fresh("1", "t", "h"), 99))
            for _ in range(STREAMS_MAX)
        ]
        await asyncio.sleep(0.3)
        answer = await streams.answer(lambda: Fresh("1", "t", "h"), None)
        assert answer.status_code == 503 and "retry-after" in answer.headers
        streams.close()
        await asyncio.gather(*tasks)

    asyncio.run(watch())


def test_silence_shows_itself_in_the_stream_without_a_tick(scene, monkeypatch):
    monkeypatch.setattr("dashboard.web.stream.HEARTBEAT_S", 0.05)
    warming(scene)
    pages = pages_of(scene)

    def make() -> Fresh:
        scene.now_utc_s += 45
        return Fresh("b1:7", "t", pages.chambers_fresh(None).html)

    pieces = asyncio.run(read(Streams(scene.hub), make, 3))
    assert "silent" not in pieces[1] and "silent since 00:00" in pieces[2]
