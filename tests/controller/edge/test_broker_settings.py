"""Where the broker is, and that nobody is anonymous on another machine."""

import pytest

from controller.edge.broker import BrokerSettings, client_of, is_loopback
from controller.errors import BrokerError, SettingsError


@pytest.mark.parametrize("host", ["localhost", "LOCALHOST", "127.0.0.1", "127.9.9.9", "::1"])
def test_this_machines_own_broker_needs_no_user(host):
    assert is_loopback(host)
    assert BrokerSettings(host=host).user is None


@pytest.mark.parametrize("host", ["192.168.1.5", "broker.example", "0.0.0.0", "localhost.example"])
def test_another_machines_broker_needs_one(host):
    with pytest.raises(SettingsError, match="Give user and password_file"):
        BrokerSettings(host=host)
    assert BrokerSettings(host=host, user="left", password_file="/x").host == host


@pytest.mark.parametrize("half", [{"user": "left"}, {"password_file": "/x"}])
def test_half_of_user_and_password_is_refused(half):
    with pytest.raises(SettingsError, match="Give both"):
        BrokerSettings(**half)


def test_no_host_is_refused():
    with pytest.raises(SettingsError, match="Name the broker"):
        BrokerSettings(host=" ")


@pytest.mark.parametrize(
    ("given", "port"),
    [({}, 1883), ({"tls_ca_file": "/x"}, 8883), ({"port": 99}, 99)],
)
def test_the_port_is_the_usual_one_unless_given(given, port):
    assert BrokerSettings(**given).port_used == port


@pytest.mark.parametrize(
    "files", [{"user": "u", "password_file": "nowhere"}, {"tls_ca_file": "nowhere"}]
)
def test_a_secret_that_cannot_be_read_names_the_remedy(tmp_path, files):
    named = {key: str(tmp_path / value) if "file" in key else value for key, value in files.items()}
    with pytest.raises(BrokerError, match="Check password_file and tls_ca_file"):
        client_of(BrokerSettings(**named), "x", 10)


def test_a_certificate_that_is_none_names_the_remedy(tmp_path):
    (tmp_path / "ca.pem").write_text("not a certificate")
    with pytest.raises(BrokerError, match="tls_ca_file"):
        client_of(BrokerSettings(tls_ca_file=str(tmp_path / "ca.pem")), "x", 10)
