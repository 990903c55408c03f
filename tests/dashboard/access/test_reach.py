"""What the dashboard lets in and what it refuses, over plain HTTP under a host name and behind TLS.

Each attack is tried as it would be made; the same good request beside it must succeed, so that no
refusal is for another reason.
"""

from __future__ import annotations

import pytest

from dashboard.access.entry import hashed
from dashboard.web.sign_in import within
from tests.browser.states import warming
from tests.dashboard.access.house import HERE, WORDS, House

ADDRESSES = (HERE, "http://localhost:8124", "http://127.0.0.1:8124")


def session_of(browser) -> str:
    return browser.cookies["barmkeep"]


# Signing in and out.


@pytest.mark.parametrize("address", ADDRESSES)
def test_a_stranger_is_led_to_sign_in_and_back_to_where_they_wanted(house, address):
    path = warming(house.scene) + "?window=day"
    browser = house.browser(address)
    answer = browser.get(path)
    assert answer.status_code == 303
    assert answer.headers["location"] == "/sign-in?next=/chambers/garage-left%3Fwindow%3Dday"
    page = browser.get(answer.headers["location"])
    assert page.status_code == 200 and "garage-left" not in page.text.replace(path, "")
    answer = browser.sign_in("brewer", next=path)
    assert (answer.status_code, answer.headers["location"]) == (303, path)
    page = browser.get(path)
    assert page.status_code == 200 and "<span>brewer</span>" in page.text


@pytest.mark.parametrize(
    ("address", "name", "is_secure"),
    [*((each, "barmkeep", False) for each in ADDRESSES), ("https", "__Host-barmkeep", True)],
)
def test_the_cookie_is_as_strong_as_the_connection_allows(tmp_path, address, name, is_secure):
    house = House(tmp_path, 'names = ["pi.lan"]\nproxies = ["127.0.0.1"]').populate()
    browser = house.browser(HERE if address == "https" else address, client="127.0.0.1")
    if is_secure:
        browser.address = "https://pi.lan"
        browser.always = {"x-forwarded-proto": "https", "x-forwarded-for": "203.0.113.9"}
    cookie = browser.sign_in("brewer").headers["set-cookie"]
    given = [part.strip().lower() for part in cookie.split(";")]
    assert given[0].startswith(f"{name.lower()}=")
    assert {"httponly", "path=/", "samesite=lax"} <= set(given)
    assert ("secure" in given) is is_secure
    assert not any(part.startswith("domain") for part in given)
    house.close()


def test_signing_out_ends_the_session_itself(house):
    browser = house.browser()
    browser.sign_in("brewer")
    stolen = session_of(browser)
    seal = browser.seal("/preferences")
    answer = browser.send("/sign-out", {"seal": seal})
    assert answer.headers["location"] == "/sign-in" and "barmkeep" not in browser.cookies
    thief = house.browser()
    thief.cookies.set("barmkeep", stolen, domain="pi.lan")
    assert thief.get("/").status_code == 303


@pytest.mark.parametrize(
    "address",
    ["//evil.example", "/\\evil.example", "https://evil.example", "javascript:alert(1)", "",
     "/\t/evil.example", "/a\nb", "/sign-in?next=/", "/ä", "/x" * 400],
)  # fmt: skip
def test_signing_in_leads_nowhere_else(house, address):
    assert within(address) == "/"
    assert house.browser().sign_in("brewer", next=address).headers["location"] == "/"


# Session fixation.


def test_a_session_planted_before_signing_in_is_not_the_one_after(house):
    browser = house.browser()
    browser.cookies.set("barmkeep", "planted-by-somebody-else", domain="pi.lan")
    assert browser.get("/").status_code == 303
    browser.sign_in("brewer")
    assert session_of(browser) != "planted-by-somebody-else"
    assert house.people.session(hashed("planted-by-somebody-else")) is None


def test_a_second_cookie_planted_beside_the_first_is_not_believed(house):
    guest, brewer = house.browser(), house.browser()
    guest.sign_in("guest")
    brewer.sign_in("brewer")
    both = f"barmkeep={session_of(guest)}; barmkeep={session_of(brewer)}"
    assert house.browser().get("/", headers={"cookie": both}).status_code == 303
    alone = f"barmkeep={session_of(brewer)}; other=1"
    assert house.browser().get("/", headers={"cookie": alone}).status_code == 200


def test_behind_tls_the_plain_cookie_opens_nothing(tmp_path):
    house = House(tmp_path, 'names = ["pi.lan"]\nproxies = ["127.0.0.1"]').populate()
    plain = house.browser(client="127.0.0.1")
    plain.sign_in("brewer")
    cookie = {"cookie": f"barmkeep={session_of(plain)}"}
    assert house.browser(client="127.0.0.1").get("/", headers=cookie).status_code == 200
    over_tls = {**cookie, "x-forwarded-proto": "https"}
    assert house.browser(client="127.0.0.1").get("/", headers=over_tls).status_code == 303
    house.close()


# Guessing.


def test_guessing_is_slowed_by_account_and_tells_nothing(house):
    texts = set()
    for number in range(5):
        for name in ("brewer", "nobody"):
            browser = house.browser(client=f"192.168.{number}.{len(name)}")
            answer = browser.sign_in(name, "wrong")
            assert answer.status_code == 401
            texts.add(answer.text.replace(name, "").replace(browser.seal(), ""))
    assert len(texts) == 1
    for name in ("brewer", "nobody"):
        answer = house.browser(client="192.168.9.9").sign_in(name, WORDS["brewer"])
        assert answer.status_code == 429 and int(answer.headers["retry-after"]) >= 2
        assert "set-cookie" not in answer.headers
    house.now_utc_s += 3
    assert house.browser().sign_in("brewer").status_code == 303


def test_guessing_many_names_from_one_place_is_slowed(house):
    for number in range(5):
        house.browser().sign_in(f"name{number}", "wrong")
    assert house.browser().sign_in("guest").status_code == 429
    assert house.browser(client="192.168.1.21").sign_in("guest").status_code == 303


def test_a_made_up_origin_of_the_connection_does_not_help_a_guesser(house):
    codes = []
    for number in range(7):
        browser = house.browser()
        browser.always = {
            "x-forwarded-for": f"10.1.1.{number}",
            "forwarded": f"for=10.2.2.{number}",
        }
        codes.append(browser.sign_in(f"name{number}", "wrong").status_code)
    assert codes == [401] * 5 + [429] * 2


# Headers of proxies.


@pytest.mark.parametrize(
    ("peer", "forwarded", "taken"),
    [
        ("127.0.0.1", "203.0.113.9", "203.0.113.9"),
        ("127.0.0.1", "10.9.9.9, 203.0.113.9", "203.0.113.9"),  # the first is the guesser's own
        ("127.0.0.1", "203.0.113.9, 127.0.0.1", "203.0.113.9"),
        ("192.168.1.66", "203.0.113.9", "192.168.1.66"),
        ("127.0.0.1", "nonsense", "nonsense"),
    ],
)
def test_only_a_listed_proxy_is_believed(tmp_path, monkeypatch, peer, forwarded, taken):
    house = House(tmp_path, 'names = ["pi.lan"]\nproxies = ["127.0.0.1"]').populate()
    seen = []
    monkeypatch.setattr(
        type(house.access.slowing),
        "begin",
        lambda _self, _a, address, _n: seen.append(address) or 0,
    )
    browser = house.browser(client=peer)
    browser.always = {"x-forwarded-for": forwarded}
    browser.sign_in("brewer")
    assert seen == [taken]
    house.close()


def test_a_claim_of_tls_from_elsewhere_is_not_believed(house):
    browser = house.browser()
    answer = browser.ask(
        "POST",
        "/sign-in",
        data={"name": "brewer", "password": WORDS["brewer"], "seal": browser.seal()},
        headers={"origin": "https://pi.lan:8124", "x-forwarded-proto": "https"},
    )
    assert answer.status_code == 403
    cookie = browser.sign_in("brewer").headers["set-cookie"]
    assert cookie.startswith("barmkeep=")


# Without users.


def test_without_users_the_page_says_that_nobody_is_asked(tmp_path):
    house = House(tmp_path)
    page = house.browser().get("/").text
    assert "Nobody is asked to sign in: these pages are served on this machine only." in page
    assert "Nobody has to sign in here" in house.browser().get("/sign-in").text
    house.close()


def test_the_first_user_closes_the_door_at_once(tmp_path):
    house = House(tmp_path)
    assert house.browser().get("/").status_code == 200
    house.populate()
    assert house.browser().get("/").status_code == 303
    house.close()
