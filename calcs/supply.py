"""The AC supply: is the voltage within its tolerance, and are the three phases balanced?"""

from __future__ import annotations

from calcs.definition import Check, Output, Step, define, given, measured
from calcs.maths import absolute, maximum, sqrt, where
from calcs.uncertainty import nominal

LIVE_WORK = (
    "Live measurement: rated probes and leads, insulated gloves where the local rules ask for them, a second person."
)


def percent_deviation(measured, nominal):
    """Deviation of a voltage from its nominal value.

        δ = 100·(U − U_n)/U_n

    δ: deviation [%]; U: measured voltage [V]; U_n: nominal voltage [V, > 0].
    Example: 206.9 V on a 230 V supply is −10.0435 %.
    Reference: IEC 60038, 3.1 (supply voltage range).
    """
    return 100 * (measured - nominal) / nominal


def lowest_permitted(nominal, tolerance):
    """Lower end of a symmetrical tolerance: U_low = U_n·(1 − p/100) [V]; p: tolerance [%].

    Example: 230 V, 10 %: 207 V.
    """
    return nominal * (1 - tolerance / 100)


def highest_permitted(nominal, tolerance):
    """Upper end of a symmetrical tolerance: U_high = U_n·(1 + p/100) [V]; p: tolerance [%].

    Example: 230 V, 10 %: 253 V.
    """
    return nominal * (1 + tolerance / 100)


define(
    "ac_supply_tolerance",
    module=__name__,
    title="AC supply voltage within tolerance",
    inputs=(
        measured("measured", "U", "V", 0, 50_000, "voltage read at the terminals"),
        given("nominal", "U_n", "V", 1, 50_000, "nominal voltage of the supply"),
        given("tolerance", "p", "%", 0, 50, "permitted deviation either way"),
    ),
    outputs=(
        Output("deviation", "δ", "%", "deviation from nominal"),
        Output("lower", "U_low", "V", "lowest permitted voltage"),
        Output("upper", "U_high", "V", "highest permitted voltage"),
    ),
    steps=(Step("lower", lowest_permitted), Step("upper", highest_permitted), Step("deviation", percent_deviation)),
    attention=(LIVE_WORK,),
)


def mean_of_three(ab, bc, ca):
    """Mean of the three line-to-line voltages [V], not rounded. Example: 462, 463, 455 V: 460 V."""
    return (ab + bc + ca) / 3


def greatest_deviation(ab, bc, ca, average):
    """Voltage unbalance as the greatest deviation from the mean.

        m = 100·max(|U_ab − Ū|; |U_bc − Ū|; |U_ca − Ū|)/Ū

    m: unbalance [%]; U_ab, U_bc, U_ca: line-to-line voltages [V]; Ū: their mean [V].
    Example: 462, 463, 455 V give 1.0870 %. Reference: NEMA MG 1, 14.36.
    """
    return 100 * maximum(absolute(ab - average), absolute(bc - average), absolute(ca - average)) / average


def shape_of_triangle(ab, bc, ca):
    """Auxiliary quantity β = ΣU⁴/(ΣU²)² of the line-to-line voltages [1]; 1/3 when they are equal, 1/2 when the
    triangle is flat.

    Reference: IEC 61000-4-30, 5.7.1.
    """
    return (ab**4 + bc**4 + ca**4) / (ab**2 + bc**2 + ca**2) ** 2


def root_of_shape(beta):
    """Auxiliary quantity r = √(3 − 6·β) [1], clipped at 0. Reference: IEC 61000-4-30, 5.7.1."""
    return sqrt(maximum(3 - 6 * beta, 0))


def negative_sequence_ratio(root):
    """Negative-sequence unbalance u2 = 100·√((1 − r)/(1 + r)) [%] from three line-to-line voltages without their
    angles.

    r: auxiliary quantity [1, 0…1]. Example: r = 0.999762 (462, 463, 455 V) gives 1.0914 %.
    Reference: IEC 61000-4-30, 5.7.1.
    """
    return 100 * sqrt(maximum(1 - root, 0) / (1 + root))


def ratio_at_balance(negative_sequence, root, ab, bc, ca, average):
    """Negative-sequence unbalance with its uncertainty also at balance, where the square root has no slope.

        u_2 = (200/3)·√(Σ(U_i − Ū)²·3/2)/Ū near balance: each voltage moves it by 2/3 of its own change [%]

    Reference: own derivation, the unbalance of two equal voltages and a third that differs by a little.
    """
    swing = (ab - nominal(ab)) + (bc - nominal(bc)) + (ca - nominal(ca))
    return where(nominal(root) < 1 - 1e-15, negative_sequence, 200 / 3 * swing / average)


def sides_make_a_triangle(ab, bc, ca):
    """Three line-to-line voltages close: none is longer than the other two together."""
    return 2 * maximum(ab, bc, ca) <= (ab + bc + ca) * (1 + 1e-12)


define(
    "voltage_unbalance",
    module=__name__,
    title="Unbalance of three line-to-line voltages",
    inputs=(
        measured("ab", "U_ab", "V", 1, 50_000, "voltage between phases a and b"),
        measured("bc", "U_bc", "V", 1, 50_000, "voltage between phases b and c"),
        measured("ca", "U_ca", "V", 1, 50_000, "voltage between phases c and a"),
    ),
    outputs=(
        Output("max_deviation", "m", "%", "greatest deviation from the mean"),
        Output("negative_sequence", "u_2", "%", "negative-sequence voltage over positive-sequence voltage"),
        Output("beta", "β", "", "shape of the voltage triangle"),
    ),
    between=(Output("average", "Ū", "V", "mean, not rounded"), Output("root", "r", "")),
    steps=(
        Check(
            sides_make_a_triangle,
            "ab, bc, ca: {ab}, {bc} and {ca} make no triangle; measure again between the lines, not to neutral",
            input="ab",
        ),
        Step("average", mean_of_three),
        Step("max_deviation", greatest_deviation),
        Step("beta", shape_of_triangle),
        Step("root", root_of_shape),
        Step("negative_sequence", negative_sequence_ratio),
        Step("negative_sequence", ratio_at_balance, silent=True),
    ),
    attention=(LIVE_WORK,),
)
