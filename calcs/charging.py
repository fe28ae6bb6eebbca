"""Charging: how large a charger is needed, and how long a discharged battery takes."""

from __future__ import annotations

from calcs.definition import Check, Output, Step, define, given, measured
from calcs.float_charge import BATTERY_IS_LIVE

_FACTOR_HELP = "charge to put back over charge removed (about 1.1 lead-acid, 1.4 nickel-cadmium)"
HOLDS_TO = (
    "The calculation holds to 80 to 90 % of charge: then the charger limits the voltage, the current falls and the "
    "rest takes hours longer."
)


def current_needed(load, factor, removed, hours):
    """Current of a charger that carries the load and recharges the battery.

        A = L + k·Q/T

    A: charger current [A]; L: steady load [A]; k: charge to put back over charge removed [1]; Q: charge removed [Ah];
    T: time for recharging [h, > 0]. Valid for constant current up to 80 to 90 % of charge.
    Example: 143 A, 171 Ah, 8 h, 1.15: 167.581 A. Reference: IEEE 946, sizing of chargers.
    """
    return load + factor * removed / hours


define(
    "charger_rating",
    module=__name__,
    title="Current of a charger for load and recharge",
    inputs=(
        measured("load", "L", "A", 0, 100_000, "steady load"),
        measured("removed", "Q", "Ah", 0, 1_000_000, "charge removed from the battery"),
        given("hours", "T", "h", 0.1, 1000, "time for recharging"),
        given("factor", "k", "", 1, 2, _FACTOR_HELP),
        given("installed", "A_i", "A", 0.1, 100_000, "rated current of the charger installed", required=False),
    ),
    outputs=(Output("current", "A", "A", "charger current that is needed"),),
    steps=(Step("current", current_needed),),
    cautions=(
        HOLDS_TO,
        "Rated current may fall with altitude and temperature; the battery maker may limit the charging current.",
    ),
    attention=(BATTERY_IS_LIVE,),
)


def hours_to_recharge(factor, removed, charger, load):
    """Time to put the removed charge back.

        T = k·Q/(A − L)

    T: time [h]; k: charge to put back over charge removed [1]; Q: charge removed [Ah]; A: charger current [A]; L: load
    [A, < A]. Valid for constant current up to 80 to 90 % of charge.
    Example: 100 Ah, 40 A, 20 A, 1.1: 5.5 h. Reference: IEEE 946, solved for time.
    """
    return factor * removed / (charger - load)


def something_left(charger, load):
    """The charger gives more than the load takes."""
    return charger > load * (1 + 1e-9)


define(
    "recharge_time",
    module=__name__,
    title="Time to recharge a battery",
    inputs=(
        measured("removed", "Q", "Ah", 0, 1_000_000, "charge removed from the battery"),
        measured("charger", "A", "A", 0.001, 100_000, "charger current"),
        measured("load", "L", "A", 0, 100_000, "steady load on the charger", default=0),
        given("factor", "k", "", 1, 2, _FACTOR_HELP),
        given("permitted", "T_max", "h", 0.1, 1000, "time that the specification allows", required=False),
    ),
    outputs=(Output("hours", "T", "h", "time to put the charge back"),),
    steps=(
        Check(
            something_left,
            "charger: {charger} leaves nothing for the battery beside a load of {load}; it never recharges",
            input="charger",
        ),
        Step("hours", hours_to_recharge),
    ),
    cautions=(HOLDS_TO,),
    attention=(BATTERY_IS_LIVE,),
)
