"""`python -m calcs list [--json] | show NAME [--json] | run NAME input=value … [--json]`.

`run discharge_log log=FILE …` reads the log of a data logger. Exit code 0 when it could calculate, whatever the
verdict; 2 with one clear line when an input is wrong.
"""

from __future__ import annotations

import json
import sys
from typing import Any

from calcs.catalogue import get, names
from calcs.definition import Definition
from calcs.engine import Result, run
from calcs.errors import InputError
from calcs.figures import show

USAGE = "usage: python -m calcs list [--json] | show NAME [--json] | run NAME input=value … [--json]"


def main(words: list[str]) -> int:
    """Do what the words ask; the answer is the exit code."""
    as_json = "--json" in words
    words = [word for word in words if word != "--json"]
    try:
        if words in (["-h"], ["--help"]):
            text: str = USAGE
        elif words == ["list"]:
            text = _list(as_json)
        elif len(words) == 2 and words[0] == "show":
            text = _show(get(words[1]), as_json)
        elif len(words) >= 2 and words[0] == "run":
            text = _run(words[1], _pairs(words[2:]), as_json)
        else:
            raise InputError(USAGE)
    except InputError as error:
        print(" ".join(str(error).split()), file=sys.stderr)
        return 2
    print(text)
    return 0


def _pairs(words: list[str]) -> dict[str, str]:
    pairs: dict[str, str] = {}
    for word in words:
        name, equals, value = word.partition("=")
        if not equals or not name:
            raise InputError(f"'{word}' is not an input; write input=value")
        if name in pairs:
            raise InputError(f"{name} is given twice", input=name)
        pairs[name] = value
    return pairs


def _dump(answer: Any) -> str:
    return json.dumps(answer, ensure_ascii=False, indent=2, allow_nan=False)


def _list(as_json: bool) -> str:
    found = [get(name) for name in names()]
    if as_json:
        return _dump([{"calculation": one.name, "edition": one.edition, "title": one.title} for one in found])
    width = max(len(one.name) for one in found)
    return "\n".join(f"{one.name:<{width}}  {one.title}" for one in found)


def _show(definition: Definition, as_json: bool) -> str:
    if as_json:
        return _dump(definition.as_json())
    lines = [f"{definition.name} (edition {definition.edition}): {definition.title}", "", "inputs"]
    lines += [f"  {_describe(one.as_json())}" for one in definition.inputs]
    lines += ["", "outputs"]
    lines += [
        f"  {one.name}  {one.symbol}{f' [{one.unit}]' if one.unit else ''}  {one.help}" for one in definition.outputs
    ]
    lines += _section("formulas", definition.formulas())
    lines += _section("limits", [_limit_words(one.as_json()) for one in definition.limits])
    lines += _section("cautions", (*definition.attention, *(one.text for one in definition.cautions)))
    lines += _section("sources", definition.sources)
    return "\n".join(lines)


def _section(title: str, lines: Any) -> list[str]:
    return ["", title, *(f"  {line}" for line in lines)] if lines else []


def _describe(spec: dict[str, Any]) -> str:
    unit = f" [{spec['unit']}]" if spec["unit"] else ""
    choices = f" {' | '.join(map(str, spec['choices']))}" if spec["choices"] else ""
    between = "" if spec["lower"] is None else f" {show(spec['lower'])} … {show(spec['upper'])}"
    need = (
        ""
        if spec["required"]
        else (" (optional)" if spec["default"] is None else f" (default {show(spec['default'])})")
    )
    return f"{spec['name']}  {spec['symbol']}{unit}{choices}{between}{need}  {spec['help']}"


def _limit_words(limit: dict[str, Any]) -> str:
    lower = "" if limit["lower"] is None else f"{show(limit['lower'])} ≤ "
    upper = "" if limit["upper"] is None else f" ≤ {show(limit['upper'])}"
    return f"{lower}{limit['output']}{upper}  {limit['source']}" + ("  (advice)" if limit["role"] == "advice" else "")


def _run(name: str, pairs: dict[str, Any], as_json: bool) -> str:
    if "log" in pairs and get(name).input("recording"):
        pairs["recording"] = _recording(pairs.pop("log"))
    result = run(name, pairs)
    return _dump(result.as_json()) if as_json else _sheet(result)


def _recording(path: str) -> Any:
    """The recording of `log=path`; how its columns were understood and what was left out goes to standard error."""
    from calcs.logger_files import guess_columns, look_at, read_log

    try:
        layout = look_at(path)
        columns = guess_columns(layout.headings, layout.sample)
        recording = read_log(path, columns)
    except OSError as error:
        raise InputError(f"log: '{path}' cannot be opened ({error.strerror})", input="recording") from error
    told = (*columns.words, *(f"{one.kind.replace('_', ' ')}: {one.words}" for one in recording.findings))
    print(*told, sep="\n", file=sys.stderr)
    return recording


def _sheet(result: Result) -> str:
    attention = get(result.name, result.edition).attention
    lines = [f"{result.name} (edition {result.edition})", ""]
    lines += [*(f"  {one}" for one in attention), ""] if attention else []
    for line in result.working:
        lines += [f"  {line.formula}", f"    {line.substituted}", f"    {line.result}"]
    lines += ["", f"verdict: {result.verdict.replace('_', ' ')}"]
    if result.conformity_probability not in (None, 0.0, 1.0):
        lines[-1] += f" (probability of conformity {result.conformity_probability:.6g})"
    lines += _section("cautions", [one for one in result.cautions if one not in attention])
    lines += _section("sources", result.sources)
    return "\n".join(lines)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
