"""The live view tells the newest by when it was heard, and nobody can hold up the rest."""

from __future__ import annotations

import asyncio
import threading
from dataclasses import replace

import pytest

from controller.errors import BarmkeepError
from dashboard import live
from dashboard.live import QUEUE_MAX, LiveHub
from tests.dashboard.lines import event, presence, tick


def test_an_older_line_that_comes_late_does_not_replace_the_newest_but_is_heard():
    hub = LiveHub()
    hub.heard(tick(9), 100.0, False)
    hub.heard(tick(3), 107.0, False)
    newest = hub.newest("cellar")
    assert (newest.tick.seq, newest.heard_utc_s) == (9, 107.0)


def test_within_a_boot_the_sequence_decides_even_when_the_clock_was_put_back():
    hub = LiveHub()
    hub.heard(tick(9), 1.0, False)
    hub.heard(tick(10, utc_s=5.0), 2.0, False)
    assert hub.newest("cellar").tick.seq == 10


def test_a_new_boot_replaces_the_old_and_a_backlog_of_the_old_does_not_come_back():
    hub = LiveHub()
    hub.heard(tick(900), 1.0, False)
    hub.heard(tick(1, boot="b2", utc_s=tick(901).utc_s), 2.0, False)
    hub.heard(tick(899), 3.0, False)
    assert hub.newest("cellar").tick.boot == "b2"


def test_neither_what_the_broker_kept_nor_its_word_for_the_lost_counts_as_heard():
    hub = LiveHub()
    hub.heard(tick(1), 50.0, True)
    assert hub.newest("cellar").heard_utc_s is None
    hub.recall("cellar", tick(1), presence(), 40.0)
    hub.heard(tick(2), 51.0, True)
    hub.heard(presence("lost"), 52.0, False)
    newest = hub.newest("cellar")
    assert (newest.tick.seq, newest.presence.state, newest.heard_utc_s) == (2, "lost", 40.0)
    hub.heard(presence(), 53.0, False)
    assert hub.newest("cellar").heard_utc_s == 53.0


def test_chambers_are_kept_apart_and_an_event_is_news_once():
    hub = LiveHub()
    hub.heard(event(1), 1.0, False)
    hub.heard(tick(2, "shed"), 2.0, False)
    first, second = hub.all_newest()
    assert (first.event, second.chamber, second.event) == (event(1), "shed", None)
    assert second.number > first.number
    hub.heard(tick(2), 3.0, False)
    assert hub.newest("cellar").event is None
    assert hub.newest("nowhere") is None


def test_a_listener_hears_everything_in_order_from_another_thread():
    hub, count = LiveHub(), 200

    def speak() -> None:
        for seq in range(1, count + 1):
            hub.heard(tick(seq), float(seq), False)
            told.wait(0.0005)

    told = threading.Event()

    async def listen() -> list[int]:
        with hub.subscribe() as listener:
            speaker = threading.Thread(target=speak)
            speaker.start()
            heard = [(await asyncio.wait_for(listener.next(), 5)).tick.seq for _ in range(count)]
            speaker.join()
            assert listener.dropped == 0
            return heard

    assert asyncio.run(listen()) == list(range(1, count + 1))


def test_a_slow_listener_loses_the_oldest_and_holds_nobody_up():
    hub = LiveHub()

    async def listen() -> tuple[list[int], int]:
        with hub.subscribe() as slow:
            for seq in range(1, QUEUE_MAX + 11):
                hub.heard(tick(seq), 1.0, False)
            return [(await slow.next()).tick.seq for _ in range(QUEUE_MAX)], slow.dropped

    heard, dropped = asyncio.run(listen())
    assert heard == list(range(11, QUEUE_MAX + 11))
    assert dropped == 10


def test_a_listener_that_gave_up_waiting_misses_nothing():
    hub = LiveHub()

    async def listen() -> int:
        with hub.subscribe() as listener:
            for _ in range(3):
                with pytest.raises(asyncio.TimeoutError):
                    await asyncio.wait_for(listener.next(), 0.01)
            hub.heard(tick(1), 1.0, False)
            return (await asyncio.wait_for(listener.next(), 1)).tick.seq

    assert asyncio.run(listen()) == 1


def test_there_is_a_limit_to_listeners_and_a_place_is_free_again_when_one_leaves(monkeypatch):
    monkeypatch.setattr(live, "LISTENERS_MAX", 2)
    hub = LiveHub()

    async def crowd() -> None:
        with hub.subscribe(), hub.subscribe(), pytest.raises(BarmkeepError), hub.subscribe():
            pass
        with hub.subscribe(), hub.subscribe():
            pass

    asyncio.run(crowd())


def test_a_listener_whose_server_has_ended_hurts_nobody():
    hub = LiveHub()
    loop = asyncio.new_event_loop()

    async def leave_open():
        return hub.subscribe().__enter__()

    listener = loop.run_until_complete(leave_open())
    loop.close()
    hub.heard(tick(1), 1.0, False)
    assert replace(hub.newest("cellar"), number=0).tick == tick(1)
    assert listener.dropped == 0


def test_beyond_the_limit_no_new_chamber_is_taken_in(monkeypatch):
    monkeypatch.setattr(live, "CHAMBERS_MAX", 1)
    hub = LiveHub()
    hub.heard(tick(1), 1.0, False)
    hub.heard(tick(1, "shed"), 1.0, False)
    hub.heard(tick(2), 1.0, False)
    assert [(each.chamber, each.tick.seq) for each in hub.all_newest()] == [("cellar", 2)]
