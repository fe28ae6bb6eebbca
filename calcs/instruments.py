"""Uncertainty of a reading from what the maker states about the instrument."""

from __future__ import annotations

from calcs.definition import Check, Output, Step, define, given, measured
from calcs.maths import absolute, sqrt
from calcs.uncertainty import COVERAGE


def half_width(reading, percent, counts, resolution, percent_of_range, full_scale, per_degree, degrees):
    """Largest error that the maker states for a reading.

        a = |x|·p/100 + R·p_R/100 + n·q + |x|·α·ΔT/100

    a: half-width [unit of the reading]; x: reading; p: per cent of reading [%]; R: range; p_R: per cent of range [%];
    n: counts [1]; q: resolution, the value of one count; α: temperature coefficient [% of reading per K]; ΔT: degrees
    outside the stated temperature range [K]. Example: 32.00 V ±(2.5 % + 3 counts of 0.01 V): 0.83 V. Reference: makers'
    data sheets; GUM 4.3.7.
    """
    return (
        absolute(reading) * percent / 100
        + full_scale * percent_of_range / 100
        + counts * resolution
        + absolute(reading) * per_degree * degrees / 100
    )


def standard_of_rectangle(bound):
    """Standard uncertainty of a value known to lie within ±a, each place alike: u = a/√3.

    Example: 0.83 V: 0.47920 V. GUM 4.3.7.
    """
    return bound / sqrt(3)


def standard_of_mean(repeatability, readings):
    """Standard uncertainty of the mean of repeated readings: u = s/√n.

    s: standard deviation; n: readings [≥ 2]. GUM 4.2.3.
    """
    return repeatability / sqrt(readings)


def standard_of_certificate(calibration):
    """Standard uncertainty from a certificate: u = U_c/2, its expanded uncertainty being k = 2. GUM 4.3.3."""
    return calibration / 2


def combined(from_accuracy, from_repeatability, from_calibration):
    """Combined standard uncertainty: u = √(u_a² + u_s² + u_c²), independent parts.

    Example: 0.3, 0.4, 0: 0.5. GUM 5.1.2.
    """
    return sqrt(from_accuracy**2 + from_repeatability**2 + from_calibration**2)


def expanded_from(standard):
    """Expanded uncertainty: U = 2·u (k = 2, about 95 %). Example: 0.47920 V: 0.95840 V. GUM 6.2.1."""
    return 2 * standard


def zero_spread():
    """No repeated readings were made: their part is nothing."""
    return 0.0


def no_repeats(repeatability=None):
    """No repeated readings were made."""
    return repeatability is None


def repeats_complete(repeatability=None, readings=None):
    """Standard deviation and number of readings come together."""
    return (repeatability is None) == (readings is None)


def some_part(bound, calibration, repeatability=None):
    """Something is stated about the instrument."""
    return (bound > 0) | (calibration > 0) | (repeatability is not None)


def expanded_uncertainty(
    *,
    reading: float,
    percent_of_reading: float = 0.0,
    percent_of_range: float = 0.0,
    full_scale: float = 0.0,
    counts: float = 0.0,
    resolution: float = 0.0,
    percent_per_degree: float = 0.0,
    degrees_outside: float = 0.0,
    repeatability: float | None = None,
    readings: int | None = None,
    calibration: float = 0.0,
) -> float:
    """Expanded uncertainty (k = 2) of a reading, from the range of an instrument as its data sheet states it.

    Everything but percentages, counts and degrees is in the unit of the reading. `degrees_outside` counts the degrees
    by which the instrument was outside its stated temperature range; `calibration` is the expanded uncertainty of its
    certificate.
    """
    bound = half_width(
        reading,
        percent_of_reading,
        counts,
        resolution,
        percent_of_range,
        full_scale,
        percent_per_degree,
        degrees_outside,
    )
    repeated = standard_of_mean(repeatability, readings) if repeatability is not None and readings else 0.0
    standard = combined(standard_of_rectangle(bound), repeated, standard_of_certificate(calibration))
    return float(COVERAGE * standard)


_LARGE = 1e15

define(
    "instrument_uncertainty",
    module=__name__,
    title="Uncertainty of a reading from the instrument's data sheet",
    inputs=(
        measured("reading", "x", "", -_LARGE, _LARGE, "the reading"),
        given("percent", "p", "%", 0, 100, "accuracy, per cent of reading", default=0),
        given("counts", "n_c", "", 0, 1e6, "accuracy, counts of the last digit", default=0),
        given("resolution", "q", "", 0, _LARGE, "value of one count, in the unit of the reading", default=0),
        given("percent_of_range", "p_R", "%", 0, 100, "accuracy, per cent of range", default=0),
        given("full_scale", "R", "", 0, _LARGE, "the range, in the unit of the reading", default=0),
        given("per_degree", "α", "%", 0, 10, "temperature coefficient, per cent of reading per degree", default=0),
        given("degrees", "ΔT", "K", 0, 100, "degrees outside the stated temperature range", default=0),
        given("repeatability", "s", "", 0, _LARGE, "standard deviation of repeated readings", required=False),
        given("readings", "n", "", 2, 1e6, "number of repeated readings", whole=True, required=False),
        given("calibration", "U_c", "", 0, _LARGE, "expanded uncertainty of the certificate, k = 2", default=0),
    ),
    outputs=(
        Output("standard", "u", "", "combined standard uncertainty, in the unit of the reading"),
        Output("expanded", "U", "", "expanded uncertainty, k = 2, in the unit of the reading"),
    ),
    between=(
        Output("bound", "a", "", "largest stated error"),
        Output("from_accuracy", "u_a", ""),
        Output("from_repeatability", "u_s", ""),
        Output("from_calibration", "u_c", ""),
    ),
    steps=(
        Check(repeats_complete, "repeatability and readings come together: give both or none", input="readings"),
        Step("bound", half_width),
        Step("from_accuracy", standard_of_rectangle),
        Step("from_repeatability", standard_of_mean),
        Step("from_repeatability", zero_spread, when=no_repeats, silent=True),
        Step("from_calibration", standard_of_certificate),
        Check(
            some_part,
            "percent: nothing is stated about the instrument; give percent, counts with resolution, or calibration",
            input="percent",
        ),
        Step("standard", combined),
        Step("expanded", expanded_from),
    ),
    cautions=(
        "The data sheet's accuracy holds within its calibration interval, temperature range and frequency range only.",
    ),
)
