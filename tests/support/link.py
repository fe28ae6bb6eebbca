"""A poor link between the browser and the product: a proxy that loses requests, loses answers, or is not there at all.

`lose_answers` is the case that matters: the server has committed, and the phone never hears of it.
"""

from __future__ import annotations

import http.client
import random
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import urlsplit

#: Headers that belong to one hop (RFC 9110, 7.6.1).
OF_A_HOP = {"connection", "keep-alive", "transfer-encoding", "upgrade", "te", "trailer"}


@dataclass
class Link:
    """What the link does to requests; change it at any moment."""

    product: str
    address: str = ""
    signal: bool = True
    lose_requests: float = 0.0
    lose_answers: float = 0.0
    chance: random.Random = field(default_factory=lambda: random.Random(20_260))
    touch: Callable[[str, bytes], bytes] | None = None  # changes the body of an answer: a newer version of a file
    release: tuple[str, str] | None = None  # a newer version of the phone's app: what it was called, what it is called
    lost: int = 0
    asked: list[str] = field(default_factory=list)

    def onward(self, path: str) -> str:
        """The address as the product knows it."""
        return path.replace(self.release[1], self.release[0]) if self.release else path

    def back(self, path: str, answer: bytes) -> bytes:
        """The answer as the browser gets it."""
        if self.touch is not None:
            answer = self.touch(path, answer)
        return answer.replace(*(name.encode() for name in self.release)) if self.release else answer

    @property
    def changes(self) -> bool:
        return self.touch is not None or self.release is not None

    def matters(self, path: str) -> bool:
        """Losses strike what is sent to the API: the pages themselves load."""
        return path.startswith("/api/") or path.startswith("/phone/session/")


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    link: Link

    def _pass(self) -> None:
        link = self.link
        body = self.rfile.read(int(self.headers.get("Content-Length") or 0))
        link.asked.append(f"{self.command} {self.path}")
        matters = link.matters(self.path)
        if not link.signal or (matters and link.chance.random() < link.lose_requests):
            return self._cut()
        status, headers, answer = self._ask(body)
        if matters and link.chance.random() < link.lose_answers:
            return self._cut()
        answer = link.back(self.path, answer)
        self.send_response_only(status)
        for name, value in headers:
            if name.lower() not in OF_A_HOP | {"content-length"}:
                self.send_header(name, value)
        self.send_header("Content-Length", str(len(answer)))
        self.end_headers()
        if self.command != "HEAD":
            with suppress(ConnectionError):  # the browser went away meanwhile
                self.wfile.write(answer)
        return None

    def _ask(self, body: bytes) -> tuple[int, list[tuple[str, str]], bytes]:
        where = urlsplit(self.link.product)
        onward = http.client.HTTPConnection(where.hostname or "", where.port, timeout=60)
        try:
            headers = {name: value for name, value in self.headers.items() if name.lower() not in OF_A_HOP}
            if self.link.changes:
                headers["Accept-Encoding"] = "identity"
            onward.request(self.command, self.link.onward(self.path), body=body or None, headers=headers)
            answer = onward.getresponse()
            return answer.status, answer.getheaders(), answer.read()
        finally:
            onward.close()

    def _cut(self) -> None:
        self.link.lost += 1
        self.close_connection = True

    do_GET = do_POST = do_PUT = do_PATCH = do_DELETE = do_HEAD = _pass

    def log_message(self, format: str, *args: Any) -> None:
        """Nothing: a test that fails tells what it saw."""


@contextmanager
def link_to(product: str) -> Iterator[Link]:
    """A link to the running product; `link.address` is where the browser goes."""
    link = Link(product)
    handler = type("Handler", (_Handler,), {"link": link})
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
    server.daemon_threads = True
    link.address = f"http://127.0.0.1:{server.server_address[1]}"
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield link
    finally:
        server.shutdown()
        server.server_close()
        thread.join(timeout=10)
