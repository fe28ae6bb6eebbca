"""Insulation of a de-energised circuit or winding, measured with an injected test voltage."""

from __future__ import annotations

from calcs.definition import Caution, Lookup, Output, Scope, Step, define, given, measured

DEAD_TEST = (
    "Dead test with an injected voltage: prove dead at the point of work, disconnect electronics, discharge afterwards."
)


def corrected_to_base(measured, halving, base_temperature, temperature):
    """Insulation resistance at the base temperature: it halves for every `halving` degrees of warming.

        R_b = R·0.5^((T_b − T)/h)

    R_b, R: insulation resistance at base and at measured temperature [Ω]; T_b, T: those temperatures [°C]; h: degrees
    for one halving [°C] (10 for thermoplastic insulation). Valid 0…80 °C. Example: 500 MΩ at 25 °C: 176.78 MΩ at 40 °C.
    Reference: IEEE 43, clause 6.3 (halving rule). Curves in handbooks differ a little: 3 MΩ at 70 °C is 24 MΩ at 40 °C
    by this rule, and 21 MΩ by the graph of one handbook.
    """
    return measured * 0.5 ** ((base_temperature - temperature) / halving)


def not_corrected(measured):
    """Insulation resistance as it was measured [Ω], where no temperature was noted."""
    return measured


def no_temperature(temperature=None):
    """No temperature was noted."""
    return temperature is None


def voltage_is_enough(test_voltage, required_test_voltage):
    """The test voltage is what the circuit asks for, or more."""
    return test_voltage >= required_test_voltage * (1 - 1e-9)


define(
    "insulation_resistance",
    module=__name__,
    title="Insulation resistance of a circuit",
    inputs=(
        measured("measured", "R", "Ω", 0, 1e15, "insulation resistance as read"),
        measured("temperature", "T", "°C", -20, 100, "temperature of the insulation", required=False),
        given("base_temperature", "T_b", "°C", 0, 60, "temperature to which it is corrected"),
        given("circuit_voltage", "U_n", "V", 1, 1000, "nominal voltage of the circuit"),
        given("test_voltage", "U_t", "V", 50, 5000, "voltage of the test instrument", required=False),
        given("halving", "h", "°C", 5, 20, "warming that halves the insulation resistance"),
    ),
    outputs=(
        Output("corrected", "R_b", "Ω", "insulation resistance at the base temperature"),
        Output("minimum", "R_min", "Ω", "least value for this circuit"),
        Output("required_test_voltage", "U_req", "V", "test voltage for this circuit"),
    ),
    steps=(
        Lookup("minimum", "least_insulation", ("circuit_voltage",), method="band"),
        Lookup("required_test_voltage", "test_voltage", ("circuit_voltage",), method="band"),
        Step("corrected", corrected_to_base),
        Step("corrected", not_corrected, when=no_temperature),
        Scope(
            voltage_is_enough,
            "The test voltage {test_voltage} is below the {required_test_voltage} that this circuit asks for: "
            "the reading decides nothing.",
        ),
    ),
    cautions=(
        Caution("Not corrected for temperature: note the temperature of the insulation.", no_temperature),
        "The correction halves the value for every {halving} of warming; curves in handbooks differ a little.",
        "Up to 50 V means SELV and PELV; electronics may have to be disconnected, or tested at a lower voltage.",
    ),
    attention=(DEAD_TEST,),
)


def index_of_polarisation(ten_minutes, one_minute):
    """Polarisation index: resistance after ten minutes over that after one.

        PI = R_10/R_1

    PI: index [1]; R_1, R_10: insulation resistance after one and ten minutes [Ω]. Valid for windings with R_1 up to 5
    GΩ.
    Example: 1.2 GΩ over 0.5 GΩ: 2.4. Reference: IEEE 43-2013, clauses 9.2 and 12.2.
    """
    return ten_minutes / one_minute


def within_meaning(one_minute, highest):
    """The index has a meaning up to a highest resistance after one minute."""
    return one_minute <= highest * (1 + 1e-9)


define(
    "polarisation_index",
    module=__name__,
    title="Polarisation index of a winding's insulation",
    inputs=(
        measured("one_minute", "R_1", "Ω", 1, 1e15, "insulation resistance after one minute"),
        measured("ten_minutes", "R_10", "Ω", 1, 1e15, "insulation resistance after ten minutes"),
        given("highest", "R_max", "Ω", 1e6, 1e15, "resistance after one minute above which the index says nothing"),
    ),
    outputs=(Output("index", "PI", "", "polarisation index"),),
    steps=(
        Step("index", index_of_polarisation),
        Scope(
            within_meaning, "Above {highest} after one minute the index says nothing: judge by the resistance itself."
        ),
    ),
    cautions=(
        "On short DC cables, and on any short cable, the index is not meaningful: there is too little to polarise.",
    ),
    attention=(DEAD_TEST,),
)
