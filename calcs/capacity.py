"""Capacity of a battery from a discharge test: lead-acid by time, by rate or by charge, and nickel-cadmium by time."""

from __future__ import annotations

from calcs.definition import Caution, Check, Lookup, Output, Scope, Step, choice, define, given, measured
from calcs.maths import where
from calcs.uncertainty import nominal

DISCHARGE_TEST = (
    "Discharge test: the battery is live throughout and its links carry the full current. Insulated tools, no rings, "
    "a second person; stop at the end voltage, or before it when a cell nears reversal. Local rules and the maker's "
    "manual come first."
)
TABLE_IS_TYPICAL = "Temperature factors are typical values: the maker's own factors for the cell come first."


def to_fahrenheit(temperature):
    """Cell temperature in the unit of the factor table: T_F = 1.8·T + 32 [°F]; T [°C]. Example: 20 °C: 68 °F."""
    return 1.8 * temperature + 32


def capacity_by_time(actual_time, rated_time, factor):
    """Capacity by the time method.

        C = 100·T_a/(T_s·K_T)

    C: capacity [% of rated]; T_a: time to the end voltage [min]; T_s: published time at the same current and end
    voltage at 25 °C [min]; K_T: temperature factor [1]. Valid for constant current and tests of about an hour and
    more. Example: 432 min of 480 at 20 °C: 95.541 %. Reference: IEEE 450 and IEEE 1188, time-adjusted method.
    """
    return 100 * actual_time / (rated_time * factor)


def capacity_by_rate(test_rate, published_rate, factor):
    """Capacity by the rate method.

        C = 100·X_a·K_C/X_t

    C: capacity [% of rated]; X_a: discharge current of the test [A]; X_t: published current for the time that was
    reached, at 25 °C [A]; K_C: temperature factor [1]. Valid for constant current, the usual way for tests under an
    hour. Example: 100 A at 20 °C, published 110 A: 96.000 %. Reference: IEEE 450 and IEEE 1188, rate-adjusted method.
    """
    return 100 * test_rate * factor / published_rate


def by_time(method):
    """The time method is used."""
    return method == "time"


def by_rate(method):
    """The rate method is used."""
    return method == "rate"


def times_given(method, actual_time=None, rated_time=None):
    """The time method has both times."""
    return method != "time" or (actual_time is not None and rated_time is not None)


def rates_given(method, test_rate=None, published_rate=None):
    """The rate method has both currents."""
    return method != "rate" or (test_rate is not None and published_rate is not None)


def short_test_by_time(method, rated_time, shortest):
    """A short test was judged by the time method."""
    return method == "time" and rated_time < shortest * (1 - 1e-9)


define(
    "capacity_test",
    module=__name__,
    title="Capacity of a lead-acid battery by time or rate, corrected to 25 °C",
    inputs=(
        choice("method", ("time", "rate"), "time for tests of an hour and more, rate for shorter ones", default="time"),
        measured("actual_time", "T_a", "min", 0, 100_000, "time to the end voltage", required=False),
        given("rated_time", "T_s", "min", 0.1, 100_000, "published time at this current, 25 °C", required=False),
        measured("test_rate", "X_a", "A", 0, 100_000, "discharge current of the test", required=False),
        given("published_rate", "X_t", "A", 0.001, 100_000, "published current for that time, 25 °C", required=False),
        measured("temperature", "T", "°C", -5, 55, "mean cell temperature at the start of the test"),
        given("shortest", "T_0", "min", 1, 600, "published time from which the time method is usual"),
    ),
    outputs=(
        Output("factor", "K", "", "temperature factor"),
        Output("capacity", "C", "%", "capacity as a share of the rated capacity at 25 °C"),
    ),
    between=(Output("temperature_in_fahrenheit", "T_F", "°F", "cell temperature in the unit of the table"),),
    steps=(
        Check(times_given, "actual_time, rated_time: the time method needs both, in min", input="actual_time"),
        Check(rates_given, "test_rate, published_rate: the rate method needs both, in A", input="test_rate"),
        Step("temperature_in_fahrenheit", to_fahrenheit),
        Lookup("factor", "time_factor", ("temperature_in_fahrenheit",), method="linear", when=by_time),
        Lookup("factor", "rate_factor", ("temperature_in_fahrenheit",), method="linear", when=by_rate),
        Step("capacity", capacity_by_time, when=by_time),
        Step("capacity", capacity_by_rate, when=by_rate),
    ),
    cautions=(
        Caution("A test under {shortest} is usually judged by the rate method.", short_test_by_time),
        TABLE_IS_TYPICAL,
    ),
    attention=(DISCHARGE_TEST,),
)


def coefficient_for(hours, boundary, long_coefficient, short_coefficient):
    """Temperature coefficient of capacity λ [1/K]: one for long discharges, another for short ones.

    Example: 10 h with a boundary of 3 h: 0.006 per K.
    """
    return where(nominal(hours) >= nominal(boundary), long_coefficient, short_coefficient)


def capacity_at_20(measured, coefficient, temperature):
    """Capacity corrected to 20 °C.

        C_20 = C/(1 + λ·(θ − 20))

    C_20, C: capacity at 20 °C and as discharged [Ah]; λ: coefficient [1/K]; θ: cell temperature [°C].
    Example: 93 Ah in 10 h at 15 °C: 95.876 Ah. Reference: IEC 60896-11 and IEC 60896-21, capacity test.
    """
    return measured / (1 + coefficient * (temperature - 20))


def share_of_rated(corrected, rated):
    """Corrected capacity as a share of the rated one: C_r = 100·C_20/C_rt [%]. Example: 95.876 of 100 Ah: 95.876 %."""
    return 100 * corrected / rated


def temperature_fits(temperature, coldest, warmest):
    """The cell temperature lies where the linear correction is used."""
    return (temperature >= coldest - 1e-9) & (temperature <= warmest + 1e-9)


define(
    "capacity_iec",
    module=__name__,
    title="Capacity of a lead-acid battery in Ah, corrected to 20 °C",
    inputs=(
        measured("measured", "C", "Ah", 0, 1_000_000, "charge removed down to the end voltage"),
        measured("temperature", "θ", "°C", -20, 80, "mean cell temperature at the start of the test"),
        given("hours", "t", "h", 0.01, 1000, "rated time of the discharge"),
        given("rated", "C_rt", "Ah", 0.01, 1_000_000, "rated capacity at 20 °C for that time", required=False),
        given("long_coefficient", "λ_l", "1/K", 0, 0.1, "coefficient of long discharges"),
        given("short_coefficient", "λ_s", "1/K", 0, 0.1, "coefficient of short discharges"),
        given("boundary", "t_b", "h", 0.1, 20, "time from which a discharge counts as long"),
        given("coldest", "θ_min", "°C", -20, 20, "lowest cell temperature that may be corrected"),
        given("warmest", "θ_max", "°C", 20, 80, "highest cell temperature that may be corrected"),
    ),
    outputs=(
        Output("corrected", "C_20", "Ah", "capacity at 20 °C"),
        Output("capacity", "C_r", "%", "that as a share of the rated capacity, where it is given"),
    ),
    between=(Output("coefficient", "λ", "1/K", "temperature coefficient in use"),),
    steps=(
        Step("coefficient", coefficient_for),
        Step("corrected", capacity_at_20),
        Step("capacity", share_of_rated),
        Scope(
            temperature_fits,
            "{temperature} lies outside {coldest} to {warmest}: the correction is not used there. "
            "Repeat the test at a temperature inside.",
        ),
    ),
    cautions=("The reference is 20 °C: never compare with a capacity stated for 25 °C.",),
    attention=(DISCHARGE_TEST,),
)


def capacity_of_nicd(actual_time, rated_time):
    """Capacity of a nickel-cadmium battery by time.

        C = 100·T_a/T_s

    C: capacity [% of rated]; T_a: time to 1.00 V per cell [min]; T_s: published time at the same current and end
    voltage [min]. Valid for constant current after a full charge. Example: 280 min of 300: 93.33 %.
    Reference: IEEE 1106, capacity test.
    """
    return 100 * actual_time / rated_time


define(
    "nicd_capacity",
    module=__name__,
    title="Capacity of a nickel-cadmium battery by time to 1.00 V per cell",
    inputs=(
        measured("actual_time", "T_a", "min", 0, 100_000, "time to 1.00 V per cell"),
        given("rated_time", "T_s", "min", 0.1, 100_000, "published time at this current to 1.00 V per cell"),
    ),
    outputs=(Output("capacity", "C", "%", "capacity as a share of the rated capacity"),),
    steps=(Step("capacity", capacity_of_nicd),),
    cautions=(
        "Not corrected for temperature: use the maker's factor where the manual has one.",
        "A battery that floated for long reads lower than after a full constant-current charge: note which it was.",
    ),
    attention=(DISCHARGE_TEST,),
)
