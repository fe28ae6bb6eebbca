"""One definition, two places: the calculations written as JavaScript, so that a phone verifies without a signal.

`build()` reads each formula's Python by its syntax tree (see `subset` for what a formula may use), and joins it with
the runtime in `runtime/*.js`: numbers with uncertainty, units as typed, figures, decision, working. `verify` of that
module answers what `calcs.run` answers; `tests/calcs/javascript` compares both on thousands of inputs.
"""

from __future__ import annotations

from calcs.javascript.program import LEFT_OUT, build
from calcs.javascript.subset import OutsideTheSubset

__all__ = ["LEFT_OUT", "OutsideTheSubset", "build"]
