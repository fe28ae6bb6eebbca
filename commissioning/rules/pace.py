"""How fast a project works, from its own gates: days for each thing that is done, by site and by kind of stage.

A *thing* is a check line done, a punch item closed, or the gate's signature. For a gate with k things done in d days,

    ln(d / k) = μ + site + kind + e,    site ~ N(0, τ_s²),  kind ~ N(0, τ_k²),  e ~ N(0, σ²)

and things come in bursts: the time for k things at the pace p is Gamma(k / φ) · φ · p, φ being the squared coefficient
of variation of the gaps between one thing and the next. So ln(d / k) is seen with a scatter of ψ′(k / φ) of its own,
more the fewer things there are. Gates that are still in hand count with what was done so far: leaving them out would
leave out the slow ones. τ_s, τ_k and σ come from the scatter between and within groups (moments), the effects from
weighted least squares held together by τ (a site with few gates leans on the others), and simulations draw μ, site,
kind and σ from what the history leaves open.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]

#: With fewer gates passed, no forecast is given.
FEWEST = 8
#: Shortest time that counts, in days: twenty minutes, so that two signatures in one sitting have a logarithm.
SHORTEST = 0.014
#: Scatter of ln(days per thing) that is never undercut, however alike the gates were.
LEAST_SIGMA = 0.15
_BURST = (0.2, 40.0)


@dataclass(frozen=True, slots=True)
class Worked:
    """A gate that passed, or is in hand: what was done at it in how many days since nothing else held it."""

    site: str
    kind: str
    days: float
    done: int  # things: lines done, items closed, the signature
    passed: bool
    lines: int = 0  # check lines among the things
    raised: int = 0  # items that hold the gate, raised while it was worked on
    gaps: tuple[float, ...] = ()  # days between one thing and the next


@dataclass(frozen=True)
class Rates:
    """What the history says, and how well."""

    gates: int
    names: Mapping[tuple[str, str], int]  # ("site", code) → column of the effects
    mean: Array
    covariance: Array
    sigma: float
    between: Mapping[str, float]  # τ by "site" and "kind"
    freedom: float
    burst: float
    raised: float
    lines: float
    pace: float = field(default=0.0)  # days for a thing, the middle one

    def draw(self, *, seed: int, size: int) -> Drawn:
        """The project as it may be, `size` times: effects and scatter, with what the history leaves open."""
        rng = np.random.default_rng(seed)
        wide = np.sqrt(self.freedom / rng.chisquare(self.freedom, size))
        root = np.linalg.cholesky(self.covariance + 1e-12 * np.eye(len(self.mean)))
        effects = self.mean[:, None] + (root @ rng.standard_normal((len(self.mean), size))) * wide
        raised = rng.gamma(self.raised + 0.5, 1.0, size) / max(self.lines, 1.0)
        return Drawn(self, effects, self.sigma * wide, raised, seed)


@dataclass(frozen=True)
class Drawn:
    """Simulated projects, one a column."""

    rates: Rates
    effects: Array
    sigma: Array
    raised: Array  # new items for each line done
    seed: int
    _new: dict[tuple[str, str], Array] = field(default_factory=dict)

    def log_pace(self, rng: np.random.Generator, *, site: str, kind: str) -> Array:
        """ln(days per thing) of one gate; a site that has no history yet gets an effect of its own."""
        found: Array = self.effects[0].copy()
        for key in (("site", site), ("kind", kind)):
            if key in self.rates.names:
                found = found + self.effects[self.rates.names[key]]
            elif tau := self.rates.between[key[0]]:
                found = found + tau * self._unseen(key)
        return found + self.sigma * rng.standard_normal(len(found))

    def _unseen(self, key: tuple[str, str]) -> Array:
        if key not in self._new:
            rng = np.random.default_rng([self.seed, number_of("/".join(key))])
            self._new[key] = rng.standard_normal((self.effects.shape[1],))
        return self._new[key]


def number_of(name: str) -> int:
    """A number of the name, the same in every process."""
    return int.from_bytes(hashlib.blake2b(name.encode(), digest_size=8).digest())


def rates_of(history: Sequence[Worked]) -> Rates | None:
    """The project's rates, or nothing where too few gates have passed."""
    passed = [one for one in history if one.passed]
    if len(passed) < FEWEST:
        return None
    days = np.array([max(one.days, SHORTEST) for one in history])
    done = np.array([max(one.done, 0.5) for one in history])
    seen = np.log(days / done)
    burst = _burst(passed, seen[[one.passed for one in history]])
    shape = np.maximum(done / burst, 1.0)
    seen = seen + 1 / (2 * shape) + 1 / (12 * shape**2)  # ln k − ψ(k): the middle of a Gamma lies below its mean
    own = 1 / shape + 1 / (2 * shape**2)  # ψ′(k)
    sites, kinds = [one.site for one in history], [one.kind for one in history]
    between_kinds = _between(seen, kinds)
    left = seen - _shrunk(seen, kinds, between_kinds, own)
    between_sites = _between(left, sites)
    left = left - _shrunk(left, sites, between_sites, own)
    # What the group means took away is given back, or a site with one gate would seem to have no scatter.
    lost = 1 - (bool(between_kinds) * len(set(kinds)) + bool(between_sites) * len(set(sites)) + 1) / len(history)
    sigma = math.sqrt(max(_weighted_variance(left, own) / max(lost, 0.5) - float(own.mean()), LEAST_SIGMA**2))
    groups = [("kind", kinds, between_kinds), ("site", sites, between_sites)]
    names, mean, covariance = _effects(seen, own + sigma**2, groups)
    return Rates(
        gates=len(passed),
        names=names,
        mean=mean,
        covariance=covariance,
        sigma=sigma,
        between={"kind": math.sqrt(between_kinds), "site": math.sqrt(between_sites)},
        freedom=max(len(history) - 2.0, 3.0),
        burst=burst,
        raised=float(sum(one.raised for one in history)),
        lines=float(sum(one.lines for one in history)),
        pace=float(np.exp(np.median(np.log(days / done)))),
    )


def _burst(passed: Sequence[Worked], seen: Array) -> float:
    """φ: 1 where things come one by one at random, more where they come in bursts with long waits between."""
    gaps = [np.array(one.gaps) for one in passed if len(one.gaps) > 1 and math.fsum(one.gaps) > 0]
    whole = [one / one.mean() for one in gaps]
    found = float(np.mean(np.concatenate(whole) ** 2) - 1) if whole else 1.0
    # Bursts cannot scatter the gates more than they are scattered.
    few = float(np.mean([1 / max(one.done, 1) for one in passed]))
    return float(np.clip(min(found, 0.8 * float(np.var(seen)) / few), *_BURST))


def _weighted_variance(values: Array, own: Array) -> float:
    weight = 1 / (own + float(np.var(values)) + 1e-9)
    return float(np.sum(weight * (values - np.average(values, weights=weight)) ** 2) / np.sum(weight))


def _groups(names: Sequence[str]) -> tuple[NDArray[np.intp], int]:
    known = {name: at for at, name in enumerate(dict.fromkeys(names))}
    return np.array([known[name] for name in names]), len(known)


def _between(values: Array, names: Sequence[str]) -> float:
    """τ²: how much more the means of the groups scatter than their members' scatter explains."""
    at, count = _groups(names)
    size = np.bincount(at, minlength=count).astype(float)
    free = len(values) - count
    if count < 2 or free < 2:
        return 0.0
    means = np.bincount(at, values, minlength=count) / size
    within = float(np.sum((values - means[at]) ** 2)) / free
    spread = float(np.sum(size * (means - values.mean()) ** 2)) - (count - 1) * within
    return max(spread / (len(values) - float(np.sum(size**2)) / len(values)), 0.0)


def _shrunk(values: Array, names: Sequence[str], between: float, own: Array) -> Array:
    """Each value's group mean, drawn towards the middle as far as the group is small."""
    at, count = _groups(names)
    weight = 1 / (own + float(np.var(values)) + 1e-9)
    middle = float(np.average(values, weights=weight))
    total = np.bincount(at, weight, minlength=count)
    means = np.bincount(at, weight * (values - middle), minlength=count) / total
    share = between * total / (between * total + 1)
    return middle + (share * means)[at]


def _effects(
    seen: Array, variance: Array, groups: Sequence[tuple[str, Sequence[str], float]]
) -> tuple[dict[tuple[str, str], int], Array, Array]:
    """Mean and covariance of μ and of the effects, after the history (mixed-model equations)."""
    names: dict[tuple[str, str], int] = {}
    held = [0.0]
    columns = [np.ones(len(seen))]
    for what, members, between in groups:
        for name in dict.fromkeys(members) if between else ():
            names[what, name] = len(columns)
            columns.append(np.array([member == name for member in members], dtype=float))
            held.append(1 / between)
    design = np.array(columns)
    normal = (design / variance) @ design.T + np.diag(held)
    covariance: Array = np.linalg.inv(normal)
    return names, covariance @ (design @ (seen / variance)), covariance
