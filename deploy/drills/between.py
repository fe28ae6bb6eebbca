"""What lies between the machines of a drill and can be broken: a network that is cut, a disk that is full."""

from __future__ import annotations

import os
import resource
import select
import socket
import subprocess
import threading
from collections.abc import Iterable, Sequence
from contextlib import suppress
from pathlib import Path

PIECE = 1 << 16


def _runs(*command: str) -> bool:
    try:
        return subprocess.run(command, capture_output=True, check=False).returncode == 0
    except FileNotFoundError:
        return False


# Network ----------------------------------------------------------------------------------------------------------


class Namespace:
    """A network namespace of its own for PostgreSQL and Redis, joined to this machine by one cable."""

    kind = "network namespace, cable pulled"

    def __init__(self) -> None:
        own = os.getpid()
        self.name = f"tracker-drill-{own}"
        self.here, self.there = f"td{own}a"[:15], f"td{own}b"[:15]
        place = f"10.{200 + own % 50}.{own // 50 % 250}"
        self.host, self._near = f"{place}.2", f"{place}.1"
        self.before: Sequence[str] = ("ip", "netns", "exec", self.name)

    def laid(self) -> bool:
        """True where this machine lets us have one."""
        inside = ("ip", "-n", self.name)
        steps = (
            ("ip", "netns", "add", self.name),
            ("ip", "link", "add", self.here, "type", "veth", "peer", "name", self.there, "netns", self.name),
            ("ip", "addr", "add", f"{self._near}/30", "dev", self.here),
            ("ip", "link", "set", self.here, "up"),
            (*inside, "addr", "add", f"{self.host}/30", "dev", self.there),
            (*inside, "link", "set", self.there, "up"),
            (*inside, "link", "set", "lo", "up"),
        )
        if all(_runs(*step) for step in steps):
            return True
        self.taken_up()
        return False

    def address(self, port: int) -> tuple[str, int]:
        return self.host, port

    def cut(self) -> None:
        _runs("ip", "-n", self.name, "link", "set", self.there, "down")

    def join(self) -> None:
        _runs("ip", "-n", self.name, "link", "set", self.there, "up")

    def taken_up(self) -> None:
        _runs("ip", "netns", "del", self.name)
        _runs("ip", "link", "del", self.here)


class Relay:
    """Where namespaces are not allowed: a relay before each server, which swallows everything while it is cut."""

    kind = "TCP relay that swallows everything (no network namespaces here)"
    host = "127.0.0.1"
    before: Sequence[str] = ()

    def __init__(self) -> None:
        self._open = threading.Event()
        self._open.set()
        self._listening: list[socket.socket] = []

    def laid(self) -> bool:
        return True

    def address(self, port: int) -> tuple[str, int]:
        """Where to reach the server that listens on this port."""
        listening = socket.create_server((self.host, 0))
        self._listening.append(listening)
        threading.Thread(target=self._take_in, args=(listening, port), daemon=True).start()
        return self.host, int(listening.getsockname()[1])

    def cut(self) -> None:
        self._open.clear()

    def join(self) -> None:
        self._open.set()

    def taken_up(self) -> None:
        for listening in self._listening:
            listening.close()

    def _take_in(self, listening: socket.socket, port: int) -> None:
        with suppress(OSError):  # closed: the drill has ended
            while True:
                near, _ = listening.accept()
                threading.Thread(target=self._carry, args=(near, port), daemon=True).start()

    def _carry(self, near: socket.socket, port: int) -> None:
        self._open.wait()
        with near, suppress(OSError), socket.create_connection((self.host, port)) as far:
            other = {near: far, far: near}
            while True:
                for one in select.select([near, far], [], [])[0]:
                    piece = one.recv(PIECE)
                    self._open.wait()
                    if not piece:
                        return
                    other[one].sendall(piece)


def network() -> Namespace | Relay:
    """A namespace where it is allowed, else a relay."""
    real = Namespace()
    return real if os.geteuid() == 0 and real.laid() else Relay()


# Disk -------------------------------------------------------------------------------------------------------------


class SmallDisk:
    """A small file system for all that the drill writes but its logs: database, files and scratch."""

    kind = "tmpfs with database, files and scratch, filled to the last byte"

    def __init__(self, folder: Path, megabytes: int) -> None:
        self.folder, self._size = folder, f"size={megabytes}m"
        self._filler = folder / "filler"

    def made(self) -> bool:
        self.folder.mkdir()
        return _runs("mount", "-t", "tmpfs", "-o", f"{self._size},mode=755", "tmpfs", str(self.folder))

    def fill(self, processes: Iterable[int]) -> None:
        """Take all the room there is, and take it again where something was given back."""
        with suppress(OSError), self._filler.open("ab", buffering=0) as file:
            while True:
                file.write(bytes(4096))

    def empty(self, processes: Iterable[int]) -> None:
        self._filler.unlink(missing_ok=True)

    def removed(self) -> None:
        _runs("umount", "--lazy", str(self.folder))


class ShortFiles:
    """Where mounting is not allowed: no process of web and workers may write a file past some kilobytes."""

    kind = "RLIMIT_FSIZE of 20 kB for web and workers (no mounting here)"

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def made(self) -> bool:
        self.folder.mkdir(exist_ok=True)
        return True

    def fill(self, processes: Iterable[int]) -> None:
        for one in processes:
            with suppress(ProcessLookupError):
                resource.prlimit(one, resource.RLIMIT_FSIZE, (20_000, resource.RLIM_INFINITY))

    def empty(self, processes: Iterable[int]) -> None:
        for one in processes:
            with suppress(ProcessLookupError):
                resource.prlimit(one, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))

    def removed(self) -> None:
        """Nothing was mounted."""


def disk(folder: Path, megabytes: int) -> SmallDisk | ShortFiles:
    """A file system of its own where it is allowed, else a limit on each process."""
    real = SmallDisk(folder, megabytes)
    return real if os.geteuid() == 0 and real.made() else ShortFiles(folder)
