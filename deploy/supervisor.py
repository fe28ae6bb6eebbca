"""Child processes kept running: started again when they die, stopped together, none left behind."""

from __future__ import annotations

import contextlib
import ctypes
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

#: A child that has run this long counts as healthy: its next death is not held against it.
HEALTHY_SECONDS = 30
LONGEST_PAUSE = 30.0
_PR_SET_PDEATHSIG = 1


@dataclass
class Child:
    """One program in a process group of its own; what it says goes to a log file."""

    name: str
    command: Sequence[str]
    log: Path
    env: dict[str, str]
    process: subprocess.Popen[bytes] | None = None
    started: float = 0.0
    pause: float = 0.0
    deaths: int = field(default=0)

    def start(self) -> None:
        with self.log.open("ab") as out:
            self.process = subprocess.Popen(
                self.command,
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=out,
                env=self.env,
                start_new_session=True,
                preexec_fn=_end_with_parent if sys.platform == "linux" else None,
            )
        self.started = time.monotonic()

    def ended(self) -> bool:
        return self.process is not None and self.process.poll() is not None

    def signal_group(self, what: signal.Signals) -> None:
        """Reach the child and everything it started."""
        if self.process is not None:
            with contextlib.suppress(ProcessLookupError):  # the whole group has ended
                os.killpg(self.process.pid, what)


class Supervisor:
    """Runs children until it is told to stop."""

    def __init__(self, children: Sequence[Child], say: Callable[[str], None]) -> None:
        self.children = children
        self.say = say
        self.stopping = False

    def start(self) -> None:
        for child in self.children:
            child.start()

    def look_after(self) -> None:
        """Start again what died; one that dies at once waits longer each time."""
        for child in self.children:
            if not child.ended():
                continue
            if child.pause == 0.0:
                self._note_death(child)
            if time.monotonic() >= child.pause:
                child.pause = 0.0
                child.start()

    def stop(self, seconds: float) -> None:
        """Ask every child to end, then end by force whatever is left of its group."""
        self.stopping = True
        for child in self.children:
            if child.process is not None and not child.ended():
                child.process.terminate()
        end = time.monotonic() + seconds
        while any(child.process and not child.ended() for child in self.children) and time.monotonic() < end:
            time.sleep(0.05)
        for child in self.children:
            child.signal_group(signal.SIGKILL)
            if child.process is not None:
                child.process.wait()

    def _note_death(self, child: Child) -> None:
        assert child.process is not None  # noqa: S101 (a child that has ended was started)
        lived = time.monotonic() - child.started
        child.deaths = 1 if lived > HEALTHY_SECONDS else child.deaths + 1
        wait = min(2.0 ** (child.deaths - 1) / 2, LONGEST_PAUSE)
        child.signal_group(signal.SIGKILL)  # what it had started ends with it
        child.pause = time.monotonic() + wait
        self.say(f"The {child.name} ended (code {child.process.returncode}) and is started again. Its log: {child.log}")


def _end_with_parent() -> None:
    """Ask the kernel to end this child when the parent is killed outright."""
    ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGTERM)
