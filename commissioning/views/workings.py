"""A result as people read it: verdict, picture, working as formulas, limits with their source, cautions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import count
from typing import Any, TypeGuard

from django.utils.safestring import SafeString, mark_safe

from calcs import decision
from calcs.figures import plain, scaled, show
from calcs.typeset import mathml
from calcs.verdicts import INDEPENDENT
from commissioning.drawings import to_svg
from commissioning.drawings.judged_figures import figures, sensible
from commissioning.drawings.verdict_bar import Judged
from commissioning.drawings.verdict_scale import verdict_scale
from commissioning.models import DecisionRule, Project, Reading
from commissioning.rules.gate import ACCEPTING
from commissioning.selectors.asking import definition_or_none
from commissioning.services.reading_inputs import AMBIENT
from commissioning.services.readings import stored_verdict

RULE_WORDS = {
    DecisionRule.SIMPLE: "simple acceptance: inside the limit accepts",
    DecisionRule.GUARDED: "guarded acceptance: inside the limit by the guard band accepts",
}
NO_CRITERION = "It has no pass criterion here, so it cannot say whether this is good."
UNSUITABLE = "The instrument's uncertainty is too wide for these limits. Measure with a better one."
CANNOT = "It cannot say: the values lie outside what the method covers, or a value for a limit is missing."
_serial = count(1)


def formula(text: str) -> SafeString:
    """A formula as MathML. The words in it are escaped by the typesetter."""
    return mark_safe(mathml(text))  # noqa: S308 - escaped by mathml, see its tests


def drawn(drawing: Any) -> SafeString:
    """A drawing as SVG. Its words are escaped by the drawing code."""
    return mark_safe(to_svg(drawing, identity=f"picture-{next(_serial)}"))  # noqa: S308 - escaped by to_svg


def reading_shown(reading: Reading, project: Project) -> dict[str, Any]:
    """A reading on record, for templates/commissioning/run/result.html."""
    return result_shown(reading.result, project=project) | {
        "reading": reading,
        "verdict": reading.verdict,
        "inputs": [input_row(entry) for entry in sorted(reading.inputs, key=lambda one: one["name"] == AMBIENT)],
        "instruments": ", ".join(map(str, reading.instruments.all())),
    }


def input_row(entry: Mapping[str, Any]) -> dict[str, str]:
    """An input as it was typed, what it came to, and where it came from."""
    unit, typed = entry.get("unit") or "", str(entry.get("typed", ""))
    spread = entry.get("expanded_uncertainty")
    shown = f"± {plain(spread, 2)} {unit}".strip() if _is_number(spread) and spread else ""
    origin = {"value": "set by the procedure", "nameplate": "nameplate", "recording": "test recording"}
    return {
        "label": entry.get("label") or entry["name"],
        "typed": typed,
        "unit": unit if is_bare(typed) else "",
        "uncertainty": shown,
        "origin": entry.get("instrument_words") or origin.get(entry.get("source", ""), ""),
    }


def is_bare(text: str) -> bool:
    """True when no unit was typed behind the numbers."""
    return not any(letter.isalpha() or letter in "%°Ωµ" for letter in text)


def result_shown(result: Mapping[str, Any], *, project: Project) -> dict[str, Any]:
    """What `calcs` answered, in words and pictures."""
    definition = definition_or_none(result.get("calculation", ""))
    verdict = stored_verdict(result.get("verdict", ""))
    probability = result.get("conformity_probability")
    spread = any((entry or {}).get("expanded_uncertainty") for entry in result.get("outputs", {}).values())
    return {
        "verdict": verdict,
        "accepted": verdict in ACCEPTING[project.decision_rule],
        "why": _why(result, verdict),
        "probability": f"{probability * 100:.1f} %" if probability is not None and spread else "",
        "rule": RULE_WORDS[DecisionRule(project.decision_rule)] if result.get("limits") else "",
        "outputs": [
            output_row(name, entry, definition, bounds_of(result, name))
            for name, entry in result.get("outputs", {}).items()
        ],
        "pictures": [drawn(picture) for picture in pictures(result, definition, project.guard_factor)],
        "working": [
            {"formula": formula(step["formula"]), "substituted": step["substituted"], "result": step["result"]}
            for step in result.get("working", ())
        ],
        "limits": [limit_row(limit, definition) for limit in result.get("limits", ())],
        **_cautions(result, definition),
        "sources": list(result.get("sources", ())),
    }


def _cautions(result: Mapping[str, Any], definition: Any) -> dict[str, list[str]]:
    """What these numbers bring up, apart from what is said of the calculation whatever the numbers."""
    always = {INDEPENDENT}
    if definition:
        always |= {*definition.attention, *(one.text for one in definition.cautions if one.when is None)}
    said = list(result.get("cautions", ()))
    return {
        "notes": [_in_words(text, definition) for text in said if text not in always],
        "cautions": [text for text in said if text in always],
    }


def _in_words(text: str, definition: Any) -> str:
    """A note that begins with the name of an output, with what that is instead."""
    for one in definition.outputs if definition else ():
        if text.startswith((f"{one.name}:", f"{one.name} is ")):
            return words_of(one.name, definition)[1] + text[len(one.name) :]
    return text


def _why(result: Mapping[str, Any], verdict: str) -> str:
    """Why there is no verdict, where there is none."""
    if verdict != decision.CANNOT_SAY:
        return ""
    if result.get("verdict") == decision.UNSUITABLE:
        return UNSUITABLE
    return CANNOT if result.get("limits") else NO_CRITERION


def words_of(name: str, definition: Any) -> tuple[str, str]:
    """Symbol and meaning of an output or input."""
    found = definition.described(name) if definition else None
    help = (found.help if found else "") or name.replace("_", " ")
    return (found.symbol if found else ""), help[:1].upper() + help[1:]


def output_row(
    name: str, entry: Mapping[str, Any], definition: Any, bounds: Mapping[str, Any] | None = None
) -> dict[str, str]:
    """An output in words: what it is, its value with its uncertainty, its unit. It is held against `bounds`."""
    symbol, help = words_of(name, definition)
    value, spread, unit = entry.get("value"), entry.get("expanded_uncertainty"), entry.get("unit") or ""
    if _is_number(value):
        factor, unit = scaled(float(value), unit)
        judged = figures(
            _scaled(value, factor),
            uncertainty=_scaled(spread or 0.0, factor),
            **{side: _scaled(bound, factor) for side, bound in (bounds or {}).items() if _is_number(bound)},
        )
        text = " ± ".join(filter(None, (judged.value, judged.uncertainty)))
    else:
        text = show(value, unit)
        unit = ""
    return {"name": name, "symbol": symbol, "help": help, "text": text, "unit": unit}


def bounds_of(result: Mapping[str, Any], name: str) -> dict[str, Any]:
    """The first limit that an output was held against: the numbers that its own digits must not contradict."""
    held: list[Mapping[str, Any]] = [limit for limit in result.get("limits", ()) if limit.get("output") == name]
    found = held[0] if held else {}
    return {side: found.get(side) for side in ("lower", "upper")}


def bounds_words(lower: Any, upper: Any, unit: str = "") -> str:
    """`at least 207 V and at most 253 V`."""
    sides = (("at least", lower), ("at most", upper))
    return " and ".join(f"{words} {value} {unit}".strip() for words, value in sides if value is not None)


def limit_row(limit: Mapping[str, Any], definition: Any) -> dict[str, Any]:
    """A limit in words, for components/working.html."""
    factor, unit = scale_of(limit)
    sides = {side: limit.get(side) for side in ("lower", "upper")}
    return {
        "output": words_of(limit["output"], definition)[1],
        **{side: sensible(_scaled(value, factor)) if _is_number(value) else value for side, value in sides.items()},
        "unit": unit,
        "source": limit.get("source", ""),
    }


def _is_number(value: Any) -> TypeGuard[float]:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _scaled(value: float, factor: float) -> float:
    return value if factor == 1.0 else value / factor


def scale_of(limit: Mapping[str, Any]) -> tuple[float, str]:
    """Factor and unit in which the bounds of a limit read well: 1000000 Ω as 1 MΩ."""
    bound = next((limit[side] for side in ("lower", "upper") if _is_number(limit.get(side))), 0.0)
    return scaled(float(bound), limit.get("unit") or "")


def pictures(result: Mapping[str, Any], definition: Any, guard_factor: float) -> Sequence[Any]:
    """A verdict bar for each limit that a number was held against."""
    values = {**result.get("inputs", {}), **result.get("outputs", {})}
    found = []
    for limit in result.get("limits", ()):
        entry = values.get(limit["output"]) or {}
        value, lower, upper = entry.get("value"), limit.get("lower"), limit.get("upper")
        if not _is_number(value) or (lower is None and upper is None):
            continue
        factor, unit = scale_of(limit)
        value = _scaled(value, factor)
        lower, upper = (one if one is None else _scaled(one, factor) for one in (lower, upper))
        spread = _scaled(entry.get("expanded_uncertainty") or 0.0, factor)
        verdict = stored_verdict(decision.decide(value, lower, upper, spread, guard_factor).verdict)
        judged = Judged(value, verdict, lower, upper, spread, unit, guard_factor)
        found.append(verdict_scale(judged, words_of(limit["output"], definition)[1]))
    return found
