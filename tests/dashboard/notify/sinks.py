"""Local ends for messages: a web server and a mail server that keep what they were sent."""

from __future__ import annotations

import contextlib
import json
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs

from tests.broker import free_port


@dataclass
class WebSink:
    """What was posted. `status` is answered; `before_answer` may hold an answer back."""

    port: int = 0
    status: int = 200
    posts: list[dict[str, Any]] = field(default_factory=list)
    paths: list[str] = field(default_factory=list)
    before_answer: Callable[[], None] = lambda: None

    def address(self, scheme: str, path: str = "sink") -> str:
        return f"{scheme}://127.0.0.1:{self.port}/{path}"


@contextlib.contextmanager
def web_sink(port: int = 0, **more: Any) -> Iterator[WebSink]:
    sink = WebSink(port or free_port(), **more)

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            raw = self.rfile.read(int(self.headers["content-length"]))
            if "json" in self.headers["content-type"]:
                body = json.loads(raw)
            else:
                body = {name: values[0] for name, values in parse_qs(raw.decode()).items()}
            body["idempotency-key"] = self.headers.get("idempotency-key")
            sink.posts.append(body)
            self._answer()

        def do_GET(self) -> None:
            self._answer()

        def _answer(self) -> None:
            sink.paths.append(self.path)
            sink.before_answer()
            self.send_response(sink.status)
            if sink.status in (301, 302):
                self.send_header("location", "/elsewhere")
            self.send_header("content-length", "0")
            self.end_headers()

        def log_message(self, *_: Any) -> None:
            pass

    ThreadingHTTPServer.allow_reuse_address = True
    server = ThreadingHTTPServer(("127.0.0.1", sink.port), Handler)
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield sink
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


@contextlib.contextmanager
def mail_sink() -> Iterator[tuple[int, list[str]]]:
    """The port of a mail server, and every mail it took, as text."""
    from aiosmtpd.controller import Controller

    mails: list[str] = []

    class Box:
        async def handle_DATA(self, _server, _session, envelope) -> str:  # noqa: N802
            mails.append(envelope.content.decode())
            return "250 OK"

    controller = Controller(Box(), hostname="127.0.0.1", port=free_port())
    controller.start()
    try:
        yield controller.port, mails
    finally:
        controller.stop()


def wait_for(holds: Callable[[], Any], within_s: float = 10.0) -> None:
    """Wait until it holds; fail when it does not."""
    end = time.monotonic() + within_s
    while not holds():
        assert time.monotonic() < end, "it did not happen in time"
        time.sleep(0.01)
