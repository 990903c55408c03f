"""The sign of life: called while all is well, and only then."""

from __future__ import annotations

from dashboard.notify.heartbeat import Heartbeat
from tests.broker import free_port
from tests.dashboard.notify.made import NOON
from tests.dashboard.notify.sinks import wait_for, web_sink


def test_it_is_called_again_and_again_while_all_is_well():
    with web_sink() as sink:
        heart = Heartbeat(sink.address("http", "l1fe"), 0.02, lambda: True, lambda: NOON)
        heart.start()
        wait_for(lambda: len(sink.paths) >= 3)
        heart.stop()
        assert set(sink.paths) == {"/l1fe"}
    assert heart.beat.arrived_utc_s == NOON and heart.beat.error == ""


def test_it_is_not_called_while_something_is_wrong():
    with web_sink() as sink:
        heart = Heartbeat(sink.address("http"), 60, lambda: False, lambda: NOON)
        heart.call()
        assert sink.paths == [] and "not well" in heart.beat.error


def test_a_call_that_fails_is_noted_without_its_address():
    heart = Heartbeat(f"http://127.0.0.1:{free_port()}/l1fe", 60, lambda: True, lambda: NOON)
    heart.call()
    assert "cannot be reached" in heart.beat.error and "l1fe" not in heart.beat.error
    with web_sink(status=500) as sink:
        heart = Heartbeat(sink.address("http"), 60, lambda: True, lambda: NOON)
        heart.call()
        assert "500" in heart.beat.error and heart.beat.arrived_utc_s is None
