"""What a page of somebody else, a wrong role, a strange path or a strange body cannot do here.

Each attack is tried as it would be made; the same good request beside it must succeed, so that no
refusal is for another reason.
"""

from __future__ import annotations

import re

import pytest

from dashboard.access.roles import Role
from dashboard.web import guard
from dashboard.web.app import OWN_NAMES
from tests.browser.states import warming
from tests.dashboard.access.house import DEVICES, HERE, ROLES, WORDS

GRAVITY = {
    "batch": "1", "entered": "9.2", "unit": "plato", "sample": "35", "calibrated": "20",
    "taken": "2026-01-14T23:30",
}  # fmt: skip
WRITE = "/chambers/garage-left/gravity"
EVIL = "http://evil.example"


@pytest.fixture
def brewer(house):
    warming(house.scene)
    browser = house.browser()
    browser.sign_in("brewer")
    return browser


# Forms of other pages.


def test_our_own_form_is_kept(house, brewer):
    seal = brewer.seal("/chambers/garage-left")
    assert brewer.send(WRITE, GRAVITY | {"seal": seal}).status_code == 303
    assert len(house.store.gravities(1)) == 1


@pytest.mark.parametrize(
    "headers",
    [{"origin": EVIL}, {"origin": "null"}, {"origin": "http://pi.lan"},
     {"origin": "http://pi.lan:9999"}, {"origin": "https://pi.lan:8124"},
     {"origin": "http://pi.lan:8124.evil.example"},
     {"origin": HERE, "sec-fetch-site": "cross-site"}],
)  # fmt: skip
def test_a_form_of_another_page_is_refused_even_with_the_seal(house, brewer, headers):
    seal = brewer.seal("/chambers/garage-left")
    answer = brewer.ask("POST", WRITE, data=GRAVITY | {"seal": seal}, headers=headers)
    assert answer.status_code == 403 and house.store.gravities(1) == ()


@pytest.mark.parametrize("seal", [None, "", "0" * 40, "of another session", "of a stranger"])
def test_a_form_without_the_sessions_own_seal_is_refused(house, brewer, seal):
    if seal == "of another session":
        other = house.browser()
        other.sign_in("guest")
        seal = other.seal("/preferences")
    elif seal == "of a stranger":
        seal = house.browser().seal()
    typed = GRAVITY if seal is None else GRAVITY | {"seal": seal}
    answer = brewer.ask("POST", WRITE, data=typed, headers={"origin": HERE})
    assert answer.status_code == 403 and house.store.gravities(1) == ()
    assert "not sent from a page that is still open to you" in answer.text


@pytest.mark.parametrize("kind", ["text/plain", "application/json", "multipart/form-data"])
def test_a_body_of_another_kind_brings_no_seal(house, brewer, kind):
    body = f'{{"seal": "{brewer.seal("/preferences")}"}}'
    answer = brewer.ask("POST", WRITE, content=body, headers={"origin": HERE, "content-type": kind})
    assert answer.status_code in (400, 403) and house.store.gravities(1) == ()


def test_somebody_cannot_be_signed_in_as_another_from_another_page(house):
    typed = {"name": "guest", "password": WORDS["guest"]}
    for headers in ({"origin": EVIL}, {}):
        answer = house.browser().ask("POST", "/sign-in", data=typed, headers=headers)
        assert answer.status_code == 403 and "set-cookie" not in answer.headers
    answer = house.browser().ask("POST", "/sign-in", data=typed, headers={"origin": HERE})
    assert answer.status_code == 403
    wrong = {"authorization": "Bearer x", "origin": EVIL}
    answer = house.browser().ask("POST", "/sign-in", data=typed | {"seal": ""}, headers=wrong)
    assert answer.status_code == 403


# Roles.


def filled(path: str) -> str:
    """An address of this way; what it names need not exist."""
    known = {"name": "garage-left", "chamber": "garage-left", "kind": "gravity"}
    return re.sub(r"{(\w+)(:\w+)?}", lambda found: known.get(found[1], "1"), path)


def is_refused(answer) -> bool:
    """Whether it was for want of a role."""
    if answer.status_code == 303:
        return answer.headers["location"].startswith("/sign-in")
    return answer.status_code in (401, 403)


def test_every_route_is_in_the_table_with_the_role_it_needs(house):
    ways = house.app.state.ways
    served = {
        (method, route.path)
        for route in house.app.routes
        for method in (getattr(route, "methods", None) or ())
        if method != "HEAD"
    }
    assert served == {(way.method, way.path) for way in ways}
    assert {(way.method, way.path) for way in ways} >= {
        ("GET", "/"),
        ("POST", WRITE.replace("garage-left", "{name}")),
    }
    for way in ways:
        is_change = way.method != "GET" and way.path not in (
            "/sign-in",
            "/sign-out",
            "/preferences",
        )
        assert not is_change or way.needs is Role.CHANGER, way
    open_to_all = sorted(way.path for way in ways if way.needs is Role.ANYBODY)
    assert open_to_all == ["/api/v1/openapi.json", "/sign-in", "/sign-in"]


@pytest.mark.parametrize("who", ["stranger", "wrong token", *ROLES, *DEVICES])
def test_no_route_answers_whoever_lacks_its_role(house, who):
    warming(house.scene)
    browser = house.browser()
    if who in ROLES:
        browser.sign_in(who)
    elif who != "stranger":
        browser.always = {"authorization": f"Bearer token-{who}"}
    has = Role({**ROLES, **DEVICES}.get(who, "anybody"))
    seal = "" if who in DEVICES or who == "wrong token" else browser.seal("/sign-in")
    before = len(house.store.gravities(1))
    for way in house.app.state.ways:
        if way.path in ("/sign-in", "/sign-out") or way.path.endswith("/stream"):
            continue
        for method in {way.method, "HEAD" if way.method == "GET" else way.method}:
            answer = browser.ask(
                method, filled(way.path), headers={"origin": HERE, "x-barmkeep-seal": seal}
            )
            assert is_refused(answer) is not has.includes(way.needs), (way, method, answer)
    assert len(house.store.gravities(1)) == before


@pytest.mark.parametrize("who", ["stranger", "guest"])
def test_a_stream_opens_only_for_whoever_may_look(house, who):
    warming(house.scene)
    browser = house.browser()
    if who == "stranger":
        assert browser.get("/chambers/garage-left/stream").status_code == 303
        assert browser.get("/stream").status_code == 303


def test_who_may_only_look_is_shown_no_forms_and_told_so(house):
    warming(house.scene)
    browser = house.browser()
    browser.sign_in("guest")
    page = browser.get("/chambers/garage-left").text
    assert 'class="looking"' in page and "may look here, but not change anything" in page
    answer = browser.send(WRITE, GRAVITY | {"seal": browser.seal("/preferences")})
    assert answer.status_code == 403 and "guest may look, but not change" in answer.text


# Paths, hosts, bodies, scripts.


@pytest.mark.parametrize(
    "path",
    ["/static/../settings.py", "/static/..%2fsettings.py", "/static/%2e%2e/settings.py",
     "/static/....//settings.py", "/static//etc/passwd", "/static/..%5csettings.py",
     "/static/%00", "/chambers/..%2f..%2fetc%2fpasswd", "/chambers/%2e%2e", "//static/sheet.css"],
)  # fmt: skip
def test_no_path_leaves_the_folder_of_static_files(brewer, path):
    answer = brewer.get(path)
    assert answer.status_code in (303, 404) and "class WebSettings" not in answer.text
    assert "root:" not in answer.text


@pytest.mark.parametrize("host", [EVIL[7:], "pi.lan.evil.example", "pi.lan@evil.example", "", "pi"])
def test_a_name_that_is_not_ours_is_answered_with_nothing(house, host):
    answer = house.browser().get("/sign-in", headers={"host": host})
    assert answer.status_code == 421 and "<form" not in answer.text
    assert house.browser().get("/sign-in", headers={"host": "PI.lan:1"}).status_code == 200
    assert "pi.lan" not in OWN_NAMES


def test_oversized_bodies_and_floods_of_fields_are_refused_before_they_are_read(house):
    browser = house.browser()
    typed = {"name": "brewer", "password": "x" * guard.BODY_BYTES_MAX}
    assert browser.send("/sign-in", typed).status_code == 413
    many = {f"f{number}": "1" for number in range(200)}
    assert browser.send("/sign-in", many).status_code == 400


@pytest.mark.parametrize("text", ["<script>alert(1)</script>", '"><img src=x onerror=alert(1)>'])
def test_script_in_a_name_is_shown_as_text(house, text):
    browser = house.browser()
    page = browser.sign_in(text, "wrong", next=f"/{text}").text
    assert text not in page and "&lt;" in page
    typed = {
        "name": text, "pitched": "2026-01-14T22:00", "strain": "kveik", "volume": "20",
        "unit": "sg", "original": "1.050", "expected": "1.010",
    }  # fmt: skip
    warming(house.scene)
    browser.sign_in("brewer")
    answer = browser.send(
        "/chambers/garage-left/batch", typed | {"seal": browser.seal("/preferences")}
    )
    assert answer.status_code in (303, 422)
    for path in ("/", "/chambers/garage-left"):
        page = browser.get(path).text
        assert text not in page


def test_pages_of_a_session_are_not_kept_by_caches_in_between(brewer):
    for path in ("/", "/chambers/garage-left", "/sign-in"):
        assert brewer.get(path).headers["cache-control"] in ("private, no-cache", "no-store")
