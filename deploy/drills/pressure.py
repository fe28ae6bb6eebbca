"""People at work while a drill breaks things: they send until they are answered, and remember what was answered."""

from __future__ import annotations

import http.client
import io
import json
import os
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import cycle
from typing import Any
from uuid import uuid4

from PIL import Image

Answer = tuple[int, Any]
PROJECT = "/api/v1/projects/OMB"
BOUNDARY = "a-picture-of-a-drill"
AGAIN_SECONDS = 0.3
#: Longer than the product itself waits for anything that does not answer.
LONGEST_ANSWER = 60.0


@dataclass
class Told:
    """What the product acknowledged, and how it spoke when it could not."""

    items: dict[str, str] = field(default_factory=dict)  # id → text
    photos: dict[str, str] = field(default_factory=dict)  # id → item
    jobs: dict[str, str] = field(default_factory=dict)  # job → dossier
    refused: list[str] = field(default_factory=list)
    wordless: list[str] = field(default_factory=list)
    answers: Counter[int] = field(default_factory=Counter)
    lock: threading.Lock = field(default_factory=threading.Lock)

    @property
    def writes(self) -> int:
        return len(self.items) + len(self.photos)

    def note(self, status: int, body: Any) -> None:
        """A failure has to say in words what to do; whatever it is, it is counted. 0: nobody answered."""
        with self.lock:
            self.answers[status] += 1
            if status >= 500 and not (isinstance(body, dict) and body.get("detail")):
                self.wordless.append(f"{status} {str(body)[:120]}")
            if 400 <= status < 500:
                self.refused.append(f"{status} {str(body)[:200]}")


@dataclass(frozen=True)
class Person:
    """Somebody with a token, who talks to the web server over a connection of its own."""

    port: int
    token: str
    told: Told

    def ask(self, method: str, path: str, body: Any = None, *, form: bytes | None = None) -> Answer:
        """One try. Status 0: no answer came."""
        kind = f"multipart/form-data; boundary={BOUNDARY}" if form else "application/json"
        data = form or (json.dumps(body).encode() if body is not None else None)
        headers = {"Authorization": f"Token {self.token}", "Content-Type": kind}
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=LONGEST_ANSWER)
        try:
            connection.request(method, path, data, headers)
            answer = connection.getresponse()
            status, text = answer.status, answer.read()
        except (OSError, http.client.HTTPException):
            status, text = 0, b""
        finally:
            connection.close()
        found = _parsed(text)
        self.told.note(status, found)
        return status, found

    def insist(self, stop: threading.Event, method: str, path: str, body: Any = None, **more: Any) -> Any:
        """The same again until it is taken, as a phone does; None: the drill ended first, or it was refused."""
        while not stop.is_set():
            status, found = self.ask(method, path, body, **more)
            if status in (200, 201):
                return found
            if 400 <= status < 500:
                return None
            time.sleep(AGAIN_SECONDS)
        return None


def write_items(person: Person, stop: threading.Event, systems: Sequence[str]) -> None:
    """Raise one punch item after the other, every second one with a picture, each under an id made here."""
    for number, system in enumerate(cycle(systems)):
        if stop.is_set():
            return
        id, text = str(uuid4()), f"Drill: gland plate not sealed, {uuid4()}"
        body = {"id": id, "system": system, "category": "C", "text": text}
        if person.insist(stop, "POST", f"{PROJECT}/punch-items/", body) is None:
            continue
        person.told.items[id] = text
        if number % 2:
            photo = str(uuid4())
            form = _form({"id": photo, "caption": "as found"}, picture())
            taken = person.insist(stop, "POST", f"{PROJECT}/punch-items/{id}/photos/", form=form)
            if taken is not None:
                person.told.photos[taken["id"]] = id


def ask_for_dossiers(person: Person, stop: threading.Event, targets: Sequence[Mapping[str, str]]) -> None:
    """Ask for a dossier, follow it until it is built, ask for the next."""
    for target in cycle(targets):
        if stop.is_set():
            return
        dossier = person.insist(stop, "POST", f"{PROJECT}/dossiers/", {"id": str(uuid4()), **target})
        if dossier is None:
            continue
        person.told.jobs[dossier["job"]] = dossier["id"]
        while not stop.is_set() and dossier and dossier["state"] in ("waiting", "running"):
            time.sleep(AGAIN_SECONDS)
            dossier = person.insist(stop, "GET", f"{PROJECT}/dossiers/{dossier['id']}/")


@contextmanager
def at_work(deeds: Sequence[Callable[[threading.Event], None]]) -> Iterator[threading.Event]:
    """Have all of them done side by side until the block ends."""
    stop = threading.Event()
    threads = [threading.Thread(target=deed, args=(stop,), daemon=True) for deed in deeds]
    for thread in threads:
        thread.start()
    try:
        yield stop
    finally:
        stop.set()
        for thread in threads:
            thread.join(LONGEST_ANSWER + 5)


def picture() -> bytes:
    """A picture that nobody sent before, some hundred kilobytes of it."""
    side = 320
    out = io.BytesIO()
    Image.frombytes("RGB", (side, side), os.urandom(side * side * 3)).save(out, "JPEG", quality=90)
    return out.getvalue()


def _form(fields: Mapping[str, str], file: bytes) -> bytes:
    parts = [
        f'--{BOUNDARY}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode()
        for name, value in fields.items()
    ]
    head = f'--{BOUNDARY}\r\nContent-Disposition: form-data; name="file"; filename="snag.jpg"\r\n'
    parts += [f"{head}Content-Type: image/jpeg\r\n\r\n".encode(), file, f"\r\n--{BOUNDARY}--\r\n".encode()]
    return b"".join(parts)


def _parsed(text: bytes) -> Any:
    try:
        return json.loads(text)
    except ValueError:
        return text.decode("utf-8", "replace")
