"""Size of a battery: the capacity that carries a duty of loads to its end, section by section."""

from __future__ import annotations

from calcs.definition import Caution, Check, Output, Step, define, given
from calcs.maths import maximum, total
from calcs.reference import look_up


def section_sizes(duty, k, temperature_factor):
    """Capacity that each section of the duty asks for.

        F_S = Σ_{P=1…S} (A_P − A_{P−1})·K(t)·K_t

    F_S: capacity for the loads up to the end of section S [Ah]; A_P: load of period P [A], A_0 = 0; t: time from the
    start of period P to the end of section S [min]; K(t): rated capacity of the cell over the current that it carries
    for t to the end voltage [Ah/A], from the maker, between two values in a straight line; K_t: temperature factor [1].
    Valid inside the maker's table of K; refused outside. Example: 5, 35, 15, 60 A over 15, 10, 75, 10 min with K_t =
    1.19: 86.07 Ah for the whole. Reference: IEEE 485 and IEEE 1115, worksheets.
    """
    table = {"values": sorted(([time, factor] for time, factor in k), key=lambda pair: pair[0])}
    loads = [load for load, _ in duty]
    steps = [load - before for load, before in zip(loads, [0.0, *loads], strict=False)]
    ends = [sum(minutes for _, minutes in duty[: count + 1]) for count in range(len(duty))]
    starts = [0.0, *ends]
    sizes = []
    for section, end in enumerate(ends):
        parts = [
            steps[period] * _factor(table, end - starts[period]) for period in range(section + 1) if steps[period] != 0
        ]
        sizes.append(total(parts) * temperature_factor)
    return sizes


def _factor(table, minutes):
    return look_up(table, [minutes], name="k", method="linear")


def random_size(random, k, temperature_factor):
    """Capacity for loads that may come at any moment: R = Σ A·K(t)·K_t [Ah]. Example: 100 A for 1 min, K 0.534: 53.4
    Ah.

    Reference: IEEE 485, random load: added to the section that controls.
    """
    table = {"values": sorted(([time, factor] for time, factor in k), key=lambda pair: pair[0])}
    return total([load * _factor(table, minutes) for load, minutes in random]) * temperature_factor


def no_random():
    """Capacity for loads at any moment when there are none [Ah]."""
    return 0.0


def controlling(section_i):
    """Number of the section that asks for most, counted from 1."""
    return (
        max(range(len(section_i)), key=lambda index: getattr(section_i[index], "nominal_value", section_i[index])) + 1
    )


def size_required(section_i, random_part, margin, ageing):
    """Rated capacity that the battery needs.

        C = (max(F_S) + R)·m·a

    C: capacity [Ah]; F_S: capacity of each section [Ah]; R: that of random loads [Ah]; m: design margin [1]; a: factor
    for ageing [1]. Example: 86.07 Ah, 1.15, 1.25: 123.73 Ah. Reference: IEEE 485 and IEEE 1115, worksheets.
    """
    return (maximum(section_i) + random_part) * margin * ageing


def without_random(random=None):
    """No random load is stated."""
    return random is None


def durations_positive(duty):
    """Every period of the duty has a length."""
    return all(minutes > 0 for _, minutes in duty)


def random_durations_positive(random):
    """Every random load has a length."""
    return all(minutes > 0 for _, minutes in random)


def table_rises(k):
    """Times of the table of K are positive, each stated once, and every K is positive."""
    times = [time for time, _ in k]
    return len(set(times)) == len(times) and all(time > 0 and factor > 0 for time, factor in k)


def margin_unusual(margin):
    """The margin lies outside what is usual."""
    return margin < 1.1 - 1e-9 or margin > 1.15 + 1e-9


define(
    "battery_sizing",
    module=__name__,
    title="Capacity that a duty of loads needs",
    inputs=(
        given(
            "duty", "A:t", "A", 0, 1_000_000, "loads in order, each with its length", kind="pairs", second_unit="min"
        ),
        given(
            "k",
            "K",
            "min",
            0,
            100_000,
            "the maker's table: time, and rated capacity over current for it",
            kind="pairs",
            second_unit="Ah/A",
        ),
        given(
            "random",
            "A_r:t_r",
            "A",
            0,
            1_000_000,
            "loads at any moment",
            kind="pairs",
            second_unit="min",
            required=False,
        ),
        given("temperature_factor", "K_t", "", 0.5, 3, "factor for the lowest cell temperature"),
        given("margin", "m", "", 1, 2, "design margin"),
        given("ageing", "a", "", 1, 2, "factor for ageing"),
        given("chosen", "C_c", "Ah", 0.1, 1_000_000, "rated capacity of the battery chosen", required=False),
    ),
    outputs=(
        Output("section_i", "F", "Ah", "capacity for each section, in order", kind="list"),
        Output("controlling_section", "S", "", "section that asks for most", kind="count"),
        Output("random_part", "R", "Ah", "capacity for random loads"),
        Output("required", "C", "Ah", "rated capacity that is needed"),
    ),
    steps=(
        Check(durations_positive, "duty: a period without a length; write A:min, such as 320:1, 100:29", input="duty"),
        Check(random_durations_positive, "random: a load without a length; write A:min, such as 100:1", input="random"),
        Check(table_rises, "k: each time once, and times and factors above zero, such as 10:0.69, 60:1.7", input="k"),
        Step("section_i", section_sizes, text="Σ (A_P − A_(P−1))·K(t)·K_t for each section, t to its end"),
        Step("controlling_section", controlling, text="section with the largest F"),
        Step("random_part", random_size, text="Σ A_r·K(t_r)·K_t"),
        Step("random_part", no_random, when=without_random, silent=True),
        Step("required", size_required),
    ),
    cautions=(
        "K belongs to one cell type and one end voltage; another cell or end voltage has another table.",
        Caution("A margin of 1.10 to 1.15 is usual: {margin} was used.", margin_unusual),
        "An estimate for planning: the maker's sizing and a competent engineer decide what is bought.",
    ),
)
