"""A small job for the tests of the worker: it counts, writing one line a step, as slowly as it is told to."""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import Any

from commissioning.models import Job
from commissioning.services import jobs


def count(job: Job) -> dict[str, Any]:
    """Count to `to`, a step every `pause` seconds, each noted in the file `log`; the sum is written at the end."""
    told = job.arguments
    for step in range(1, told["to"] + 1):
        jobs.heartbeat(job, words=f"step {step}", done=step, total=told["to"])
        with Path(told["log"]).open("a") as log:
            log.write(f"{os.getpid()} {job.attempts} {step}\n")
        time.sleep(told["pause"])
    with jobs.writing(job):
        jobs.finish(job, {"sum": sum(range(told["to"] + 1)), "by": os.getpid()})
    return {}
