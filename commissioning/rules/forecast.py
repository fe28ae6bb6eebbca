"""When each gate will pass: a Monte Carlo over the lines and items that are left, at the project's own rates.

In each simulation a gate takes a pace (see `pace`), and new items are raised on the lines that are left, at the rate at
which they were raised so far. What is left (r lines, items and the signature) then takes Gamma(r / φ) · φ · pace days.
A gate begins when the last of those that it waits for has passed, in the same simulation; one in hand goes on, and its
pace is weighed by what was done at it so far (k things in a days weigh a pace p by p^(−k/φ) · e^(−a/(p·φ))). Systems of
which no stage is started begin one after the other, at the rate at which systems were begun so far. The 50, 80 and 95 %
dates are those before which so many of the simulations have passed.

Its limits: work goes on as it went; nobody is moved, no holiday and no delivery is known; items are raised as before;
a gate that needs more than its lines, its items and a signature takes the time that such things took before. It is
seeded: the same facts at the same time give the same dates, whichever gates are asked about.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from commissioning.rules.pace import Array, Drawn, Rates, number_of

SEED = 20
SIMULATIONS = 2000
CURVE_SIMULATIONS = 500
CHANCES = (0.5, 0.8, 0.95)
#: Fewer systems begun than this say nothing about when the others will be.
FEWEST_BEGUN = 3
NO_LINES = "no_lines"
NOT_BEGUN = "not_begun"
WAITS = "waits"


@dataclass(frozen=True, slots=True)
class Gate:
    """A gate that has not passed: what is left for it, what it waits for, and what was done so far."""

    id: str
    site: str
    kind: str
    lines: int  # left
    items: int  # left that hold it
    waits_for: tuple[str, ...] = ()  # gates that have not passed
    has_lines: bool = True
    in_hand_days: float | None = None  # since nothing else held it; None: it waits, or its system is not begun
    done: int = 0
    planned_in: float | None = None  # days to the end of the planned date


@dataclass(frozen=True, slots=True)
class Begun:
    """How systems were begun so far: days ago, each; and the first gates of those not begun, in their order."""

    ago: tuple[float, ...] = ()
    queue: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Forecast:
    """Days from now by which the gate has passed with each of CHANCES, or why nothing can be said."""

    gate: str
    days: tuple[float, ...] = ()
    by_plan: float | None = None  # share of the simulations that pass by the planned date
    cannot: str = ""


@dataclass(frozen=True)
class Outlook(Mapping[str, Forecast]):
    """A forecast for each gate, and the simulations behind them, for what several gates do together."""

    found: Mapping[str, Forecast]
    ends: Mapping[str, Array]  # days from now, by gate and simulation

    def __getitem__(self, gate: str) -> Forecast:
        return self.found[gate]

    def __iter__(self) -> Iterator[str]:
        return iter(self.found)

    def __len__(self) -> int:
        return len(self.found)

    def all_passed(self, gates: Iterable[str]) -> tuple[float, ...]:
        """Days by which every one of these has passed, with each of CHANCES; those without a forecast are left out."""
        ends = [self.ends[gate] for gate in gates if gate in self.ends]
        return _quantiles(np.maximum.reduce(ends)) if ends else ()

    def passed_by(self, gates: Iterable[str], days: Sequence[float]) -> list[tuple[float, float, float]]:
        """How many of these have passed by each day: the middle, between what 80 % of the simulations keep to."""
        ends = [self.ends[gate][:CURVE_SIMULATIONS] for gate in gates if gate in self.ends]
        if not ends:
            return []
        whole = np.sort(np.array(ends), axis=0)
        counts = [np.quantile((whole <= day).sum(axis=0), (0.1, 0.5, 0.9)) for day in days]
        return [(float(low), float(middle), float(high)) for low, middle, high in counts]


def _quantiles(ends: Array) -> tuple[float, ...]:
    return tuple(float(one) for one in np.quantile(ends, CHANCES))


def forecast(
    *, gates: Iterable[Gate], rates: Rates, begun: Begun, seed: int = SEED, simulations: int = SIMULATIONS
) -> Outlook:
    """A forecast for every gate. Gates that are waited for but are not among them count as passed."""
    known = {gate.id: gate for gate in gates}
    drawn = rates.draw(seed=seed, size=simulations)
    starts = _starts(begun, wanted=known, seed=seed, size=simulations)
    ends: dict[str, Array] = {}
    found: dict[str, Forecast] = {}
    for gate in _in_order(known):
        why = _cannot(gate, known, ends, starts)
        if why:
            found[gate.id] = Forecast(gate.id, cannot=why)
            continue
        rng = np.random.default_rng([seed, 2, number_of(gate.id)])
        begins = [ends[other] for other in gate.waits_for if other in ends]
        begin = np.maximum.reduce(begins) if begins else starts.get(gate.id, np.zeros(simulations))
        ends[gate.id] = begin + _days_left(gate, drawn, rng)
        by_plan = None if gate.planned_in is None else float(np.mean(ends[gate.id] <= gate.planned_in))
        found[gate.id] = Forecast(gate.id, _quantiles(ends[gate.id]), by_plan)
    return Outlook(found, ends)


def _cannot(gate: Gate, known: Mapping[str, Gate], ends: Mapping[str, Array], starts: Mapping[str, Array]) -> str:
    if not gate.has_lines:
        return NO_LINES
    if any(other in known and other not in ends for other in gate.waits_for):
        return WAITS
    if not gate.waits_for and gate.in_hand_days is None and gate.id not in starts:
        return NOT_BEGUN
    return ""


def _days_left(gate: Gate, drawn: Drawn, rng: np.random.Generator) -> Array:
    """Days from when it can be worked on (now, for one in hand) until it passes, by simulation."""
    burst = drawn.rates.burst
    log_pace = drawn.log_pace(rng, site=gate.site, kind=gate.kind)
    left: Array = gate.lines + gate.items + 1.0 + rng.poisson(drawn.raised * gate.lines)
    if gate.in_hand_days is not None and not gate.waits_for:
        log_pace = _weighed(log_pace, done=gate.done, days=gate.in_hand_days, burst=burst, rng=rng)
        left = left + max(burst - 1, 0.0) / 2  # somebody who looks in meets a long gap rather than a short one
    days: Array = rng.gamma(left / burst) * burst * np.exp(log_pace)
    return days


def _weighed(log_pace: Array, *, done: int, days: float, burst: float, rng: np.random.Generator) -> Array:
    """Paces drawn again, each as often as it agrees with what was done at the gate so far."""
    if days <= 0:
        return log_pace
    weight = -(done * log_pace + days * np.exp(-log_pace)) / burst
    weight = np.exp(weight - weight.max())
    return rng.choice(log_pace, size=len(log_pace), p=weight / weight.sum())


def _starts(begun: Begun, *, wanted: Mapping[str, Gate], seed: int, size: int) -> dict[str, Array]:
    """When each system that is not begun begins: the next one first, at the rate of those begun so far."""
    if len(begun.ago) < FEWEST_BEGUN:
        return {}
    rng = np.random.default_rng([seed, 1])
    ago = np.sort(np.array(begun.ago))[::-1]
    gaps = np.append(-np.diff(ago), ago[-1])
    burst = float(np.clip(np.mean((gaps / max(float(gaps.mean()), 1e-6)) ** 2) - 1, 0.2, 20.0))
    apart = max(float(ago[0]), 1.0) / (rng.gamma(len(ago) / burst, 1.0, size) * burst)
    at = np.zeros(size)
    found: dict[str, Array] = {}
    last = max((place for place, name in enumerate(begun.queue, 1) if name in wanted), default=0)
    for name in begun.queue[:last]:
        at = at + rng.gamma(1 / burst, 1.0, size) * burst * apart
        if name in wanted:
            found[name] = at
    return found


def _in_order(gates: Mapping[str, Gate]) -> Sequence[Gate]:
    """Each gate after those that it waits for; dependencies have no cycle."""
    order: list[Gate] = []
    seen: set[str] = set()
    for name in gates:
        stack = [(name, False)]
        while stack:
            one, ready = stack.pop()
            if ready:
                order.append(gates[one])
            elif one not in seen:
                seen.add(one)
                stack.append((one, True))
                stack.extend((other, False) for other in gates[one].waits_for if other in gates and other not in seen)
    return order
