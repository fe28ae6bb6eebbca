"""Rectifier modules: how many are needed, and do they share the load?"""

from __future__ import annotations

from calcs.definition import Caution, Check, Output, Scope, Step, define, given, measured
from calcs.maths import absolute, ceil, maximum, mean, minimum


def modules_needed(load, recharge, module):
    """Modules that carry the load and the recharging of the battery.

        n = ⌈(I_L + I_B)/I_m⌉

    n: modules needed [1]; I_L: load [A]; I_B: recharging current [A]; I_m: rated current of one module [A, > 0].
    Example: 96.6 A with modules of 50 A: 2. Reference: published sizing examples of modular rectifiers.
    """
    return ceil((load + recharge) / module)


def modules_to_spare(installed, needed):
    """Modules beyond those needed: s = n_i − n [1]. Example: 3 installed, 2 needed: 1."""
    return installed - needed


def one_may_fail(spare):
    """The rest carries load and recharge when one module fails: s ≥ 1."""
    return spare >= 1


define(
    "rectifier_redundancy",
    module=__name__,
    title="Rectifier modules needed and to spare",
    inputs=(
        measured("load", "I_L", "A", 0, 100_000, "steady load"),
        given("recharge", "I_B", "A", 0, 100_000, "current that recharges the battery", default=0),
        given("module", "I_m", "A", 0.1, 10_000, "rated current of one module"),
        given("installed", "n_i", "", 1, 1000, "modules installed", whole=True, required=False),
    ),
    outputs=(
        Output("needed", "n", "", "modules needed", kind="count"),
        Output("spare", "s", "", "modules to spare", kind="count"),
        Output("survives_one_loss", "survives", "", "the rest carries all when one module fails", kind="truth"),
    ),
    steps=(
        Step("needed", modules_needed),
        Step("spare", modules_to_spare),
        Step("survives_one_loss", one_may_fail, text="s ≥ 1"),
    ),
    cautions=("Rated current may fall with temperature and altitude, and power may limit it: see the maker's manual.",),
)


def share_deviations(currents):
    """Deviation of each module's current from their mean: d_i = 100·(I_i − Ī)/Ī [%].

    Example: 10.1, 9.8, 10.3, 9.8 A: 1, −2, 3, −2 %.
    """
    return [100 * (one - mean(currents)) / mean(currents) for one in currents]


def largest_deviation(deviations):
    """Deviation of the module that is furthest from the mean, without its sign [%]. Example: 1, −2, 3, −2 %: 3 %."""
    return maximum([absolute(one) for one in deviations])


def spread_of_shares(deviations):
    """Largest less smallest deviation: Δ = max(d_i) − min(d_i) [%]. Example: 1, −2, 3, −2 %: 5 %."""
    return maximum(deviations) - minimum(deviations)


def mean_load(currents, rated):
    """Mean current of the modules as a share of their rating: l = 100·Ī/I_m [%]. Example: 10 A of 15 A: 66.7 %."""
    return 100 * mean(currents) / rated


def at_least_two(currents):
    """Sharing needs two modules or more."""
    return len(currents) >= 2


def some_current(currents):
    """The modules carry current."""
    return mean(currents) > 0


def loaded_enough(loading, least_loading):
    """Sharing is judged from a least load on."""
    return loading >= least_loading * (1 - 1e-9)


def rating_unknown(rated=None):
    """The rating of the modules was not given."""
    return rated is None


define(
    "load_share",
    module=__name__,
    title="Load sharing of rectifier modules",
    inputs=(
        measured("currents", "I", "A", 0, 10_000, "current of each module", kind="list"),
        given("rated", "I_m", "A", 0.1, 10_000, "rated current of one module", required=False),
        given("least_loading", "l_0", "%", 0, 100, "mean load from which sharing is judged"),
    ),
    outputs=(
        Output("deviations", "d", "%", "deviation of each module from the mean", kind="list"),
        Output("worst", "d_max", "%", "largest deviation, without its sign"),
        Output("spread", "Δ", "%", "largest less smallest deviation"),
    ),
    between=(Output("loading", "l", "%", "mean load of the modules"),),
    steps=(
        Check(
            at_least_two, "currents: give the currents of two modules or more, separated by commas", input="currents"
        ),
        Check(some_current, "currents: the modules carry no current", input="currents"),
        Step("deviations", share_deviations, text="100·(I_i − Ī)/Ī for each module"),
        Step("worst", largest_deviation, text="max(|d_i|)"),
        Step("spread", spread_of_shares),
        Step("loading", mean_load),
        Scope(
            loaded_enough,
            "The modules carry {loading} of their rating on average: sharing is judged from {least_loading} on.",
        ),
    ),
    cautions=(Caution("Give the rating of the modules: sharing is judged only above half load.", rating_unknown),),
)
