"""Insulation of an unearthed DC system, pole by pole, from voltages to earth."""

from __future__ import annotations

from calcs.definition import Caution, Check, Output, Step, choice, define, given, measured
from calcs.maths import maximum, minimum, nominal

LIVE_DC = (
    "The system is live on both poles: insulated tools, rated probes, and a fused test resistor that stays guarded."
)


def difference_lost(system, positive, negative):
    """Voltage that a meter to earth takes away: D = U − U_p − U_n [V]. Example: 122.7, 30.675, 30.675 V: 61.35 V."""
    return system - positive - negative


def positive_by_meter(meter_resistance, difference, negative):
    """Insulation of the positive pole from two readings with one meter.

        R_p = R_v·D/U_n

    R_p: positive pole to earth [Ω]; R_v: resistance of the meter [Ω]; D = U − U_p − U_n [V]; U_n: negative pole to
    earth [V].
    Valid when D is larger than its uncertainty. Example: 100 kΩ, 61.35 V, 30.675 V: 200 kΩ.
    Reference: UN R100, annex 4 (there the value is named after the opposite pole); checked by a forward nodal solution.
    """
    return meter_resistance * difference / negative


def negative_by_meter(meter_resistance, difference, positive):
    """Insulation of the negative pole by two readings with one meter: R_n = R_v·D/U_p [Ω]; see `positive_by_meter`."""
    return meter_resistance * difference / positive


def positive_by_resistor(test_resistance, system, loaded, negative):
    """Insulation of the positive pole, found with a resistor from the negative pole to earth.

        R_p = R_0·U·(1/U_0 − 1/U_n)

    R_p: positive pole to earth [Ω]; R_0: test resistor [Ω]; U: system voltage [V]; U_n, U_0: negative pole to earth
    without and with the resistor [V]. Example: 22 kΩ, 122.7 V, 115.7547 V, 62.3130 V: 20 kΩ.
    Reference: UN R100, annex 4; checked by a forward nodal solution.
    """
    return test_resistance * system * (1 / loaded - 1 / negative)


def negative_by_balance(positive_resistance, system, negative, meter_resistance):
    """Insulation of the negative pole when that of the positive is known.

        R_n = 1/((U/U_n − 1)/R_p − 1/R_v)

    R_n, R_p: poles to earth [Ω]; U: system voltage [V]; U_n: negative pole to earth [V]; R_v: resistance of the meter
    [Ω].
    Example: 20 kΩ, 122.7 V, 115.7547 V, 1 MΩ: 500 kΩ. Reference: current balance at earth; forward nodal solution.
    """
    return 1 / ((system / negative - 1) / positive_resistance - 1 / meter_resistance)


def negative_by_resistor(test_resistance, system, loaded, positive):
    """Insulation of the negative pole, by a resistor at the positive pole: R_n = R_0·U·(1/U_0 − 1/U_p) [Ω]."""
    return test_resistance * system * (1 / loaded - 1 / positive)


def positive_by_balance(negative_resistance, system, positive, meter_resistance):
    """Insulation of the positive pole when that of the negative is known: R_p = 1/((U/U_p − 1)/R_n − 1/R_v) [Ω]."""
    return 1 / ((system / positive - 1) / negative_resistance - 1 / meter_resistance)


def both_poles_in_parallel(positive_resistance, negative_resistance):
    """Insulation of the whole system to earth: R_e = R_p·R_n/(R_p + R_n) [Ω]. Example: 20 kΩ and 500 kΩ: 19.23 kΩ."""
    return positive_resistance * negative_resistance / (positive_resistance + negative_resistance)


def insulation_per_volt(parallel, system):
    """Insulation related to the system voltage: r = R_e/U [Ω/V]. Example: 19.23 kΩ, 122.7 V: 156.7 Ω/V."""
    return parallel / system


def ratio_of_poles(positive_resistance, negative_resistance):
    """Weaker over stronger pole: q = 100·min(R_p; R_n)/max(R_p; R_n) [%]; 100 % is symmetric.

    Example: 20 k and 500 k: 4 %.
    """
    return 100 * minimum(positive_resistance, negative_resistance) / maximum(positive_resistance, negative_resistance)


def poles_are_alike(ratio, alike):
    """The poles count as symmetric: q ≥ q_0 [%]."""
    return nominal(ratio) >= alike


def name_of_fault(positive_resistance, negative_resistance, symmetric, ohms_per_volt, response):
    """The pole with the weaker insulation; `both` when symmetric and low, `neither` when symmetric and not low."""
    if symmetric:
        return "both" if nominal(ohms_per_volt) < response else "neither"
    return "positive" if nominal(positive_resistance) < nominal(negative_resistance) else "negative"


def power_in_resistor(system, test_resistance):
    """Largest power in the test resistor: P_0 = U²/R_0 [W], with a solid fault of the other pole.

    Example: 122.7 V, 22 kΩ: 0.684 W.
    """
    return system**2 / test_resistance


def two_readings(test_resistance=None):
    """No test resistor was used."""
    return test_resistance is None


def resistor_at_negative(test_pole):
    """The test resistor was at the negative pole."""
    return test_pole == "negative"


def resistor_at_positive(test_pole):
    """The test resistor was at the positive pole."""
    return test_pole == "positive"


def all_or_none(test_resistance=None, test_pole=None, loaded=None):
    """The three inputs of the test with a resistor come together."""
    return (test_resistance is None) == (test_pole is None) and (test_pole is None) == (loaded is None)


def readings_fit(system, positive, negative, expanded_difference):
    """The two readings to earth do not exceed the system voltage by more than their uncertainty."""
    return positive + negative <= system + maximum(expanded_difference, 1e-9 * system)


def difference_resolved(difference, expanded_difference, system, test_resistance=None):
    """The difference stands clear of its uncertainty (asked for only without a test resistor)."""
    return test_resistance is not None or difference > maximum(expanded_difference, 1e-9 * system)


def resistor_lowers(loaded, expanded_drop, drop):
    """The resistor lowered the voltage of its pole by more than the uncertainty."""
    return (drop > expanded_drop) & (loaded > 0)


def drop_at_negative(negative, loaded):
    """Fall of the voltage at the negative pole by the resistor: ΔU = U_n − U_0 [V]."""
    return negative - loaded


def drop_at_positive(positive, loaded):
    """Fall of the voltage at the positive pole by the resistor: ΔU = U_p − U_0 [V]."""
    return positive - loaded


def both_positive(positive_resistance, negative_resistance):
    """Both insulation resistances come out positive."""
    return (positive_resistance > 0) & (negative_resistance > 0)


def low_and_symmetric(symmetric, ohms_per_volt, response):
    """A symmetric fault, which a relay that compares the poles does not see."""
    return symmetric and ohms_per_volt < response


def resistor_used(test_resistance):
    """A test resistor was used."""
    return test_resistance > 0


define(
    "pole_insulation",
    module=__name__,
    title="Insulation of the poles of an unearthed DC system",
    inputs=(
        measured("system", "U", "V", 1, 1500, "voltage between the poles"),
        measured("positive", "U_p", "V", 0, 1500, "positive pole to earth (size, without sign)"),
        measured("negative", "U_n", "V", 0, 1500, "negative pole to earth (size, without sign)"),
        given("meter_resistance", "R_v", "Ω", 1e3, 1e12, "input resistance of the meter"),
        given("test_resistance", "R_0", "Ω", 10, 1e9, "resistor put between a pole and earth", required=False),
        choice("test_pole", ("positive", "negative"), "pole that the resistor was at", required=False),
        measured("loaded", "U_0", "V", 0, 1500, "that pole to earth with the resistor in place", required=False),
        given("response", "r_0", "Ω/V", 0, 1e6, "insulation per volt below which a fault is called"),
        given("alike", "q_0", "%", 1, 100, "weaker over stronger pole from which they count as symmetric"),
    ),
    outputs=(
        Output("positive_resistance", "R_p", "Ω", "insulation of the positive pole"),
        Output("negative_resistance", "R_n", "Ω", "insulation of the negative pole"),
        Output("parallel", "R_e", "Ω", "insulation of the whole system"),
        Output("ohms_per_volt", "r", "Ω/V", "insulation related to the voltage"),
        Output("faulted_pole", "fault", "", "positive, negative, both or neither", kind="text"),
        Output("symmetric", "symmetric", "", "the poles are alike", kind="truth"),
    ),
    between=(
        Output("difference", "D", "V", "what the meter takes away"),
        Output("drop", "ΔU", "V", "what the test resistor takes away"),
        Output("ratio", "q", "%", "weaker over stronger pole"),
        Output("power", "P_0", "W", "largest power in the test resistor"),
    ),
    steps=(
        Check(
            all_or_none, "test_resistance, test_pole and loaded come together: give all three or none", input="loaded"
        ),
        Step("difference", difference_lost),
        Check(
            readings_fit,
            "positive, negative: {positive} and {negative} together exceed the system voltage {system}; measure again",
            input="positive",
        ),
        Check(
            difference_resolved,
            "positive, negative: what the meter takes away ({difference}) is lost in the uncertainty, "
            "only the ratio is known; "
            "use a meter of lower resistance or a test resistor",
            input="meter_resistance",
        ),
        Step("positive_resistance", positive_by_meter, when=two_readings),
        Step("negative_resistance", negative_by_meter, when=two_readings),
        Step("drop", drop_at_negative, when=resistor_at_negative, silent=True),
        Step("drop", drop_at_positive, when=resistor_at_positive, silent=True),
        Check(
            resistor_lowers,
            "loaded: {loaded} does not stand clear of the reading without the resistor; use a smaller test resistor",
            input="loaded",
        ),
        Step("positive_resistance", positive_by_resistor, when=resistor_at_negative),
        Step("negative_resistance", negative_by_balance, when=resistor_at_negative),
        Step("negative_resistance", negative_by_resistor, when=resistor_at_positive),
        Step("positive_resistance", positive_by_balance, when=resistor_at_positive),
        Check(
            both_positive,
            "positive, negative, loaded: the insulation comes out negative; a reading is wrong, or the value of the "
            "meter or the resistor",
            input="loaded",
        ),
        Step("parallel", both_poles_in_parallel),
        Step("ohms_per_volt", insulation_per_volt),
        Step("ratio", ratio_of_poles),
        Step("symmetric", poles_are_alike, text="q ≥ q_0"),
        Step("faulted_pole", name_of_fault, text="the weaker pole; both when symmetric with r < r_0"),
        Step("power", power_in_resistor),
    ),
    cautions=(
        Caution(
            "The fault is symmetric: a relay that compares the poles (balance relay) cannot see it.", low_and_symmetric
        ),
        Caution(
            "The test resistor takes up to {power}: choose its rating above that, and remove it afterwards.",
            resistor_used,
        ),
        "An insulation monitor that stays connected adds its own resistance: disconnect it or count it in.",
    ),
    attention=(LIVE_DC,),
)
