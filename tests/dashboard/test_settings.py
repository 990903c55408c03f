"""dashboard.toml: strict, bounded, secrets by name of a file, and nobody unknown over a network."""

from __future__ import annotations

import pytest

from controller.errors import DiskError, SettingsError
from dashboard.settings import SECRET_BYTES_MAX, is_loopback, read, secret, settings_of

GOOD = '[store]\npath = "/var/lib/barmkeep/dashboard.db"\n'


def test_only_the_store_must_be_named_and_the_rest_stays_on_this_machine():
    found = settings_of(GOOD)
    assert (found.web.host, found.web.port) == ("127.0.0.1", 8124)
    assert (found.broker.host, found.broker.port, found.broker.user) == ("127.0.0.1", 1883, None)
    assert (found.store.commit_s, found.hydrometer.calibrated_c) == (60.0, 20.0)


def test_a_whole_file_is_read(tmp_path):
    path = tmp_path / "dashboard.toml"
    path.write_text(
        GOOD + "commit_s = 30\n[web]\nport = 9000\nnames = ['beer.lan']\n[broker]\n"
        "host = 'pi.lan'\nport = 8883\nuser = 'ui'\npassword_file = '/etc/p'\n"
        "tls_ca_file = '/etc/ca.pem'\n[hydrometer]\ncalibrated_c = 15.6\n"
    )
    found = read(path)
    assert (found.web.names, found.broker.user, found.broker.port) == (("beer.lan",), "ui", 8883)
    assert found.store.commit_s == 30.0


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        ("[broker]\nhost = 'pi.lan'", "broker: a broker on another machine (pi.lan) without a"),
        ("[broker]\nuser = 'ui'", "broker: user and password_file go together"),
        ("[broker]\npassword = 'x'", "did you mean password_file?"),
        ("[broker]\nhost = ''", "must not be empty"),
        ("[web]\nhost = '0.0.0.0'\nneeds_login = false", "that ask nobody for a name are not"),
        ("[web]\nproxies = ['proxy.lan']", "web: proxies: 'proxy.lan' does not appear to be"),
        ("[web]\nproxies = ['10.8.0.1/24']", "has host bits set"),
        ("[web]\nport = 70000", "web.port: too great (70000); allowed 1 to 65535"),
        ("[hydrometer]\ncalibrated_c = 68", "if 68 is °F, write 20.0 (°C)"),
        ("[webb]\n", "did you mean web?"),
    ],
)
def test_what_is_wrong_is_told_with_what_would_be_right(more, expected):
    with pytest.raises(SettingsError) as caught:
        settings_of(GOOD + more)
    assert expected in caught.value.what


@pytest.mark.parametrize(
    ("web", "always_asks"),
    [
        ("", None),
        ("needs_login = true", True),
        ("needs_login = false", False),
        ("host = '0.0.0.0'", True),
        ("host = '192.168.1.5'\nneeds_login = true", True),
        ("proxies = ['127.0.0.1']", True),
        ("proxies = ['127.0.0.1']\nneeds_login = false", False),
    ],
)
def test_where_another_machine_could_come_in_a_name_is_asked_for(web, always_asks):
    assert settings_of(f"{GOOD}[web]\n{web}").web.always_asks is always_asks


@pytest.mark.parametrize(
    ("host", "expected"),
    [
        ("127.0.0.1", True),
        ("127.8.8.8", True),
        ("::1", True),
        ("[::1]", True),
        ("localhost", True),
        ("0.0.0.0", False),
        ("192.168.1.5", False),
        ("localhost.example", False),
    ],
)
def test_what_can_only_be_this_machine(host, expected):
    assert is_loopback(host) == expected


def test_a_secret_is_one_line_of_a_file(tmp_path):
    path = tmp_path / "password"
    path.write_text("pass word ä\r\n", encoding="utf-8")
    assert secret(str(path)) == "pass word ä"
    for wrong in (b"", b"\n", b"one\ntwo\n", b"\xff\xfe", b"x" * (SECRET_BYTES_MAX + 1)):
        path.write_bytes(wrong)
        with pytest.raises(DiskError):
            secret(str(path))
    with pytest.raises(DiskError, match="cannot be read"):
        secret(str(tmp_path / "none"))
