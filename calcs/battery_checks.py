"""Checks of cells, links and chargers: ohmic value, link resistance, gravity, temperatures, voltage regulation."""

from __future__ import annotations

from calcs.definition import Caution, Check, Input, Output, Step, define, given, measured
from calcs.errors import InputError
from calcs.float_charge import BATTERY_IS_LIVE, MAKER_DECIDES
from calcs.intake import within_range
from calcs.maths import absolute, maximum, mean, minimum
from calcs.uncertainty import nominal, uncertain
from calcs.units import parse


def _ohmic(name, symbol, help, is_measured):
    """An input in Ω that also takes a conductance: what is typed in S counts as its reciprocal."""
    plain = Input(name, symbol, "Ω", 1e-7, 1000, help, measured=is_measured)

    def read(typed):
        try:
            quantity = parse(typed, "Ω", name=name)
        except InputError as wrong:
            try:
                siemens = parse(typed, "S", name=name)
            except InputError:
                raise wrong from None
            if siemens.value <= 0:
                raise InputError(f"{name}: a conductance is above zero", input=name) from None
            value = 1 / uncertain(siemens.value, siemens.expanded_uncertainty)
        else:
            value = uncertain(quantity.value, quantity.expanded_uncertainty)
        within_range(plain, nominal(value))
        return value

    return Input(name, symbol, "Ω", 1e-7, 1000, help, measured=is_measured, read=read)


def deviation_from_baseline(measured, baseline):
    """Rise of the internal resistance of a cell over its reference.

        δ = 100·(R − R_0)/R_0

    δ: deviation [%]; R, R_0: resistance now and as reference [Ω] (a conductance counts as 1/G). Example: 0.63 mΩ over
    0.50 mΩ: 26 %. Reference: IEEE 1188, ohmic measurements.
    """
    return 100 * (measured - baseline) / baseline


def reads_lower(deviation):
    """The reading lies well below its reference."""
    return deviation < -20


define(
    "ohmic_deviation",
    module=__name__,
    title="Internal resistance of a cell against its reference",
    inputs=(
        _ohmic("measured", "R", "internal resistance, or conductance in S", True),
        _ohmic("baseline", "R_0", "reference: the maker's, or the median of the new string", False),
    ),
    outputs=(Output("deviation", "δ", "%", "rise over the reference"),),
    steps=(Step("deviation", deviation_from_baseline),),
    cautions=(
        Caution("Well below its reference: check the reference, the probes and the make of the meter.", reads_lower),
        "Compare only readings of one make of meter, one temperature and one state of charge.",
    ),
    attention=(BATTERY_IS_LIVE,),
)


def mean_of_links(readings):
    """Mean of like links [µΩ]. Example: 40, 42, 38, 60 µΩ: 45 µΩ."""
    return mean(readings)


def highest_link(readings):
    """Highest of the links [µΩ]. Example: 40, 42, 38, 60 µΩ: 60 µΩ."""
    return maximum(readings)


def place_of_highest(readings):
    """Place of the highest link in the list, counted from 1."""
    plain = nominal(readings)
    return plain.index(max(plain)) + 1


def over_the_mean(highest, average):
    """How far the highest link stands above the mean of like links: w = 100·(R_max − R̄)/R̄ [%].

    Example: 60 µΩ over a mean of 45 µΩ: 33.33 %. Reference: IEEE 450 and IEEE 1188, connection resistance.
    """
    return 100 * (highest - average) / average


def two_or_more(readings):
    """A comparison needs two readings or more."""
    return len(readings) >= 2


def average_positive(average):
    """The mean is above zero."""
    return average > 0


define(
    "link_resistance",
    module=__name__,
    title="Resistance of the links between cells",
    inputs=(
        measured("readings", "R", "µΩ", 0, 1e6, "resistance of each of several like links, in order", kind="list"),
    ),
    outputs=(
        Output("worst", "w", "%", "highest link over the mean of like links"),
        Output("highest", "R_max", "µΩ", "highest link"),
        Output("place", "n", "", "its place in the list, counted from 1", kind="count"),
        Output("average", "R̄", "µΩ", "mean of the links"),
    ),
    steps=(
        Check(two_or_more, "readings: give two like links or more, separated by commas", input="readings"),
        Step("average", mean_of_links, text="ΣR_i/n"),
        Check(average_positive, "readings: all are zero; a link has a resistance", input="readings"),
        Step("highest", highest_link, text="max(R)"),
        Step("place", place_of_highest, text="place of R_max"),
        Step("worst", over_the_mean),
    ),
    cautions=("Compare like with like: links of another length or size are a list of their own.", MAKER_DECIDES),
    attention=(BATTERY_IS_LIVE,),
)


def gravity_at_reference(measured, change, temperature, reference_temperature, degrees):
    """Specific gravity of the acid at the reference temperature.

        s_25 = s + 0.001·(T − 25)/1.67

    s_25, s: specific gravity at 25 °C and as read [1]; T: temperature of the electrolyte [°C]. Valid 0…50 °C.
    Example: 1.240 at 35 °C: 1.2460. Reference: hydrometer practice, three points for 5 °C (9 °F).
    """
    return measured + change * (temperature - reference_temperature) / degrees


def off_target(corrected, target):
    """Difference to the gravity that the maker states: Δ = s_25 − s_0 [1]. Example: 1.246 for 1.240: 0.006."""
    return corrected - target


define(
    "specific_gravity",
    module=__name__,
    title="Specific gravity of the acid, corrected to 25 °C",
    inputs=(
        measured("measured", "s", "", 1.0, 1.4, "specific gravity as read"),
        measured("temperature", "T", "°C", 0, 50, "temperature of the electrolyte"),
        given("target", "s_0", "", 1.0, 1.4, "the maker's gravity at 25 °C, fully charged", required=False),
        given("permitted", "p", "", 0, 0.1, "permitted difference either way"),
        given("change", "c", "", 0, 0.01, "change of the gravity for so many degrees"),
        given("degrees", "ΔT", "K", 0.1, 20, "degrees for that change"),
        given("reference_temperature", "T_0", "°C", 15, 30, "temperature of the maker's gravity"),
    ),
    outputs=(
        Output("corrected", "s_25", "", "specific gravity at the reference temperature"),
        Output("deviation", "Δ", "", "difference to the maker's gravity"),
    ),
    steps=(Step("corrected", gravity_at_reference), Step("deviation", off_target)),
    cautions=("Not soon after topping up or while the cell gasses: the acid has to mix first.", MAKER_DECIDES),
    attention=(BATTERY_IS_LIVE, "Acid burns: goggles, gloves and apron, water for the eyes within reach."),
)


def warmest_reading(readings):
    """Warmest reading [°C]."""
    return maximum(readings)


def coolest_reading(readings):
    """Coolest reading [°C]."""
    return minimum(readings)


def spread_of_temperatures(warmest, coolest):
    """Spread of the cell temperatures: ΔT = T_max − T_min [K]. Example: 24.1 … 22.5 °C: 1.6 K."""
    return warmest - coolest


define(
    "temperature_spread",
    module=__name__,
    title="Spread of cell temperatures over a battery",
    inputs=(measured("readings", "T", "°C", -40, 100, "temperature of each of several cells", kind="list"),),
    outputs=(
        Output("spread", "ΔT", "K", "warmest less coolest"),
        Output("warmest", "T_max", "°C", "warmest reading"),
        Output("coolest", "T_min", "°C", "coolest reading"),
    ),
    steps=(
        Check(two_or_more, "readings: give two temperatures or more, separated by commas", input="readings"),
        Step("warmest", warmest_reading, text="max(T)"),
        Step("coolest", coolest_reading, text="min(T)"),
        Step("spread", spread_of_temperatures),
    ),
    cautions=("Look for the reason of a spread: sun, heaters, exhaust air, or a cell in thermal trouble.",),
    attention=(BATTERY_IS_LIVE,),
)


def deviations_from_set(readings, setpoint):
    """Deviation of each reading from the voltage set: d_i = 100·(U_i − U_s)/U_s [%].

    Example: 54.3 V for 54.0 V: 0.556 %.
    """
    return [100 * (one - setpoint) / setpoint for one in readings]


def furthest(deviations):
    """Deviation that is furthest from zero, with its sign [%]. Example: 0.2, −0.9, 0.5 %: −0.9 %."""
    return max(deviations, key=lambda one: nominal(absolute(one)))


def spread_of_readings(readings):
    """Highest less lowest reading: ΔU = U_max − U_min [V]."""
    return maximum(readings) - minimum(readings)


define(
    "regulation",
    module=__name__,
    title="Voltage regulation of a charger or inverter over its load",
    inputs=(
        measured("readings", "U", "V", 0, 50_000, "output voltage at no, half, full and again no load", kind="list"),
        measured("setpoint", "U_s", "V", 0.1, 50_000, "voltage set"),
        given("permitted", "p", "%", 0, 20, "permitted deviation either way"),
    ),
    outputs=(
        Output("deviation", "d", "%", "deviation that is furthest from the setting, with its sign"),
        Output("deviations", "d_i", "%", "deviation of each reading", kind="list"),
        Output("spread", "ΔU", "V", "highest less lowest reading"),
    ),
    steps=(
        Step("deviations", deviations_from_set, text="100·(U_i − U_s)/U_s for each reading"),
        Step("deviation", furthest, text="d_i furthest from zero"),
        Step("spread", spread_of_readings, text="max(U) − min(U)"),
    ),
    attention=("Live measurement: rated probes and leads, insulated tools, a second person.",),
)
