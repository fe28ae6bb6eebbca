"""What is seen of an installation from outside: whether it is ready, which processes it has, how busy they were."""

from __future__ import annotations

import http.client
import os
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path


def answers_ready(port: int) -> bool:
    """What the load balancer asks."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    try:
        connection.request("GET", "/health/ready")
        return connection.getresponse().status == 200
    except (OSError, http.client.HTTPException):
        return False
    finally:
        connection.close()


def processes_of(process: int) -> list[int]:
    """This process, those that it started, and theirs."""
    parents: dict[int, list[int]] = {}
    for stat in Path("/proc").glob("[0-9]*/stat"):
        with suppress(OSError):
            parent = int(stat.read_text().rpartition(")")[2].split()[1])
            parents.setdefault(parent, []).append(int(stat.parent.name))
    found = [process]
    for one in found:
        found += parents.get(one, [])
    return found


def seconds_of(processes: Iterable[int]) -> float:
    """Seconds of processor that these have taken, with those of their children that have ended."""
    ticks = 0
    for one in processes:
        with suppress(OSError):
            ticks += sum(int(number) for number in _stat(one)[11:15])
    return ticks / os.sysconf("SC_CLK_TCK")


def _stat(process: int) -> list[str]:
    """The fields of /proc/PID/stat after the name, which may hold anything: state, parent …"""
    return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
