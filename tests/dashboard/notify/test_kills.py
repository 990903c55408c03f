"""Killed in the middle, again and again: no alarm is lost, and none becomes two messages."""

from __future__ import annotations

import random
import re
import signal
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

from tests.dashboard.notify.sinks import WebSink, wait_for, web_sink

COUNT = 60
KILLS = 6
ROOT = Path(__file__).parents[3]


def started(path: Path, sink: WebSink) -> subprocess.Popen[bytes]:
    words = (str(path), sink.address("http"), str(COUNT))
    module = "tests.dashboard.notify.interrupted"
    return subprocess.Popen([sys.executable, "-m", module, *words], cwd=ROOT)


def test_kills_lose_no_alarm_and_make_none_twice(tmp_path):
    dice = random.Random(4)
    told: Counter[str] = Counter()

    with web_sink(before_answer=lambda: time.sleep(0.008)) as sink:
        for _ in range(KILLS):
            child = started(tmp_path / "store.db", sink)
            before = len(sink.posts)
            wait_for(lambda before=before: len(sink.posts) > before + 1, 20)
            time.sleep(dice.uniform(0.0, 0.12))
            child.send_signal(signal.SIGKILL)
            child.wait()
        child = started(tmp_path / "store.db", sink)
        numbers: set[str] = set()

        def is_complete() -> bool:
            numbers.update(*(re.findall(r"Number (\d+)\.", post["text"]) for post in sink.posts))
            return len(numbers) == COUNT

        wait_for(is_complete, 30)
        time.sleep(0.3)  # Whatever would come twice has had the time to come.
        child.send_signal(signal.SIGKILL)
        child.wait()
    posts = list(sink.posts)
    first = {post["id"]: post["text"] for post in posts if not post["is_repeat"]}
    for text in {**{post["id"]: post["text"] for post in posts}, **first}.values():
        told.update(re.findall(r"Number (\d+)\.", text))
    assert sorted(map(int, told)) == list(range(1, COUNT + 1)), "an alarm was lost"
    assert set(told.values()) == {1}, "an alarm became two messages"
    plain = Counter(post["id"] for post in posts if not post["is_repeat"])
    assert set(plain.values()) == {1}, "sent again without saying so"
    repeats = sum(post["is_repeat"] for post in posts)
    assert repeats <= KILLS
    print(f"{len(posts)} posts, {len(plain)} messages, {repeats} sent again and marked so")
