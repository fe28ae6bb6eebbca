"""A phone under Node.js: the product's own outbox and sender over a store in memory, and the server in this process."""

from __future__ import annotations

import base64
import json
import shutil
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from django.urls import resolve
from playwright._impl._driver import compute_driver_executable
from rest_framework.test import APIRequestFactory, force_authenticate

from commissioning.models import User

HERE = Path(__file__).parent
MODULES = Path(__file__).parents[3] / "commissioning/static/commissioning/phone"

Answer = dict[str, Any]
#: What comes of a request: gets the request and the server, gives what the phone hears.
Link = Callable[["Asked", Callable[[], Answer]], Answer]

LOST: Answer = {"lost": True}
KILLED: Answer = {"killed": True}


class Refused(Exception):
    """The phone said no, in words."""


class Killed(Exception):
    """The tab was killed in the middle."""


@dataclass(frozen=True, slots=True)
class Asked:
    """One request of the phone."""

    method: str
    path: str
    body: str | None
    octets: bytes | None


class Server:
    """The product's own views, asked by somebody who is signed in; no network between."""

    def __init__(self, user: User) -> None:
        self.user = user
        self.factory = APIRequestFactory()

    def __call__(self, asked: Asked) -> Answer:
        if asked.path == "/phone/session/":
            return said(200, {"person": {"id": self.user.pk, "name": self.user.name}, "csrf": "token"})
        where = urlsplit(asked.path)
        found = resolve(where.path)
        kind = "application/octet-stream" if asked.octets is not None else "application/json"
        data = asked.octets if asked.octets is not None else (asked.body or "").encode()
        request = self.factory.generic(asked.method, where.path, data, content_type=kind, QUERY_STRING=where.query)
        force_authenticate(request, self.user)
        answer = found.func(request, *found.args, **found.kwargs)
        answer.render()
        return {"status": answer.status_code, "type": answer["Content-Type"], "text": answer.content.decode()}


def said(status: int, body: Any, type: str = "application/json") -> Answer:
    return {"status": status, "type": type, "text": json.dumps(body)}


class NodePhone:
    """The phone; `link` decides what becomes of each of its requests."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self.process = process
        self.server: Callable[[Asked], Answer] = lambda asked: said(503, {})
        self.link: Link = lambda asked, server: server()

    def do(self, deed: str, **given: Any) -> Any:
        """The deed's answer; Refused or Killed where it came to that. The server answers meanwhile."""
        self._say({"do": deed, **given})
        while True:
            line = json.loads(self._stdout.readline() or '{"fault": "the phone\'s process ended"}')
            if "ask" in line:
                octets = base64.b64decode(line["octets"]) if line["octets"] is not None else None
                asked = Asked(line["method"], line["path"], line["body"], octets)
                self._say({"answer": line["ask"], **self.link(asked, lambda asked=asked: self.server(asked))})
            elif "done" in line:
                return line["done"]
            elif "refused" in line:
                raise Refused(line["refused"])
            elif "killed" in line:
                raise Killed
            else:
                raise AssertionError(line["fault"])

    def _say(self, line: dict[str, Any]) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(json.dumps(line) + "\n")
        self.process.stdin.flush()

    @property
    def _stdout(self) -> Any:
        return self.process.stdout


@contextmanager
def node_phone(folder: Path) -> Iterator[NodePhone]:
    """A phone's process; its modules are the product's own."""
    shutil.copytree(MODULES, folder / "phone")
    for name in ("driver.mjs", "store_double.mjs"):
        shutil.copy(HERE / name, folder / name)
    (folder / "package.json").write_text('{"type": "module"}', "utf-8")
    command = [compute_driver_executable()[0], str(folder / "driver.mjs")]
    process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    try:
        yield NodePhone(process)
    finally:
        assert process.stdin is not None
        process.stdin.close()
        process.wait(timeout=10)
