"""The verdict that a phone showed without signal, beside the server's, which counts: a difference is never hidden."""

from __future__ import annotations

from collections.abc import Mapping
from math import isclose
from typing import Any

import calcs
from commissioning.models import Reading, Verdict

#: As near as two machines come to the same number by the same formula.
NEARNESS = 1e-9


def judged_value(result: Mapping[str, Any]) -> float | None:
    """The number that the verdict is about: the first one held against a limit, else the first that came out."""
    known = {**result["inputs"], **result["outputs"]}
    definition = calcs.get(result["calculation"], result["edition"])
    names = [limit["output"] for limit in result["limits"]] + [one.name for one in definition.outputs]
    values = ((known.get(name) or {}).get("value") for name in names)
    return next((float(value) for value in values if isinstance(value, int | float)), None)


def difference(reading: Reading, phone: Mapping[str, Any]) -> str:
    """In one sentence what the server found otherwise; empty when both agree."""
    said = phone["verdict"]
    if said != reading.verdict:
        words = dict(Verdict.choices).get(said, said.replace("_", " "))
        found = f"The server's verdict is '{reading.get_verdict_display()}'; the phone had shown '{words}'."
        return f"{found} The server's verdict counts.{_why(reading, phone)}"
    mine, theirs = judged_value(reading.result), phone.get("value")
    if mine is not None and theirs is not None and not isclose(mine, theirs, rel_tol=NEARNESS, abs_tol=1e-12):
        found = f"The server computed {mine:.6g} where the phone had {theirs:.6g}; the verdict is the same."
        return f"{found} The server's number counts.{_why(reading, phone)}"
    return ""


def _why(reading: Reading, phone: Mapping[str, Any]) -> str:
    edition = phone.get("edition")
    if edition and edition != reading.edition:
        return f" The phone computed with edition {edition}, the server with edition {reading.edition}."
    return ""
