"""The calculations as the phone runs them, in the Node.js that the playwright package brings along."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from playwright._impl._driver import compute_driver_executable

from calcs.javascript import build

#: Answers each case: [name of an export, its arguments] gives {value} or {refused, input, later}.
ANSWERS = """
export function answers(module, cases) {
  return cases.map(([name, ...given]) => {
    try {
      return { value: module[name](...given) };
    } catch (error) {
      return { refused: error.message, input: error.input ?? "", later: error instanceof module.Later,
        kind: error.constructor.name };
    }
  });
}
"""
_MAIN = """
import { readFileSync } from "node:fs";
import * as module from "./formulas.mjs";
import { answers } from "./answers.mjs";
console.log(JSON.stringify(answers(module, JSON.parse(readFileSync(0, "utf8")))));
"""


def run_in_node(folder: Path, cases: Sequence[Sequence[Any]], *, text: str | None = None) -> list[dict[str, Any]]:
    """Answers of the module (the product's own, or `text`) to cases of [function, arguments…]."""
    files = {"formulas.mjs": build() if text is None else text, "answers.mjs": ANSWERS, "main.mjs": _MAIN}
    for name, content in files.items():
        (folder / name).write_text(content, "utf-8")
    node = compute_driver_executable()[0]
    done = subprocess.run(
        [node, str(folder / "main.mjs")], input=json.dumps(cases), capture_output=True, text=True, timeout=300
    )
    assert done.returncode == 0, done.stderr
    return list(json.loads(done.stdout))
