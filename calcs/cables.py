"""Cables: resistance of a conductor, and the voltage that a two-wire DC circuit loses."""

from __future__ import annotations

from calcs.definition import Caution, Check, Lookup, Output, Step, choice, define, given, measured

_CONDUCTOR = (
    given("area", "A", "mm²", 0.5, 1000, "nominal cross-section", required=False),
    choice("conductor_class", (1, 2, 5), "1 solid, 2 stranded, 5 flexible", symbol="class", default=2),
    choice("material", ("cu", "al"), "copper or aluminium", default="cu"),
    given("temperature", "T", "°C", -40, 250, "temperature of the conductor"),
)


def resistance_at_temperature(resistance_at_20, inferred_zero, temperature):
    """Conductor resistance at its working temperature.

        R_T = R_20·(T_0 + T)/(T_0 + 20)

    R_T, R_20: resistance at T and at 20 °C [Ω/km]; T: conductor temperature [°C]; T_0: inferred zero [°C], 234.5 for
    copper.
    Valid −40…250 °C. Example: 0.727 Ω/km copper at 70 °C: 0.86983 Ω/km. Reference: IEC 60228:2004, annex B.
    """
    return resistance_at_20 * (inferred_zero + temperature) / (inferred_zero + 20)


_TABLE_STEPS = (
    Lookup("resistance_at_20", "conductor_resistance", ("material", "conductor_class", "area")),
    Lookup("inferred_zero", "inferred_zero", ("material",)),
)
_BETWEEN = (Output("resistance_at_20", "R_20", "Ω/km"), Output("inferred_zero", "T_0", "°C"))

define(
    "conductor_resistance",
    module=__name__,
    title="Resistance of a cable conductor per kilometre",
    inputs=(given("area", "A", "mm²", 0.5, 1000, "nominal cross-section"), *_CONDUCTOR[1:]),
    outputs=(Output("per_km", "R_T", "Ω/km", "largest resistance at the conductor temperature"),),
    between=_BETWEEN,
    steps=(*_TABLE_STEPS, Step("per_km", resistance_at_temperature)),
    cautions=("The table gives the largest resistance that a conductor of this size may have; a real one lies below.",),
)


def loop_drop(length, per_metre, current, extra):
    """Voltage lost in a two-wire circuit.

        ΔU = 2·L·r·I + U_x

    ΔU: drop [V]; L: length one way [m]; r: conductor resistance [Ω/m]; I: current [A]; U_x: further drops, of switches
    and links [V]. Example: 30 m of 25 mm² copper at 20 °C, 50 A: 2.181 V. Reference: Ohm's law over both conductors.
    """
    return 2 * length * per_metre * current + extra


def per_metre_of(resistance):
    """Conductor resistance per metre: r = R/1000 [Ω/m]. Example: 0.727 Ω/km: 0.000727 Ω/m."""
    return resistance / 1000


def drop_in_percent(drop, nominal):
    """Voltage lost as a share of the nominal voltage: u = 100·ΔU/U_n [%]. Example: 2.6095 V of 110 V: 2.372 %."""
    return 100 * drop / nominal


def resistance_as_given(per_km):
    """Conductor resistance where it is known [Ω/km]."""
    return per_km


def nothing_extra(extra):
    """No further drops were stated."""
    return extra == 0


def per_km_is_absent(per_km=None):
    """The conductor is described by its size, not by its resistance."""
    return per_km is None


def conductor_known(per_km=None, area=None):
    """Either the size or the resistance of the conductor is known."""
    return per_km is not None or area is not None


define(
    "cable_voltage_drop",
    module=__name__,
    title="Voltage drop of a two-wire DC cable",
    inputs=(
        measured("length", "L", "m", 0, 100_000, "length one way"),
        measured("current", "I", "A", 0, 100_000, "current"),
        *_CONDUCTOR,
        given("per_km", "R_T", "Ω/km", 1e-6, 1000, "conductor resistance, where it is known", required=False),
        given("extra", "U_x", "V", 0, 1000, "further drops: switches, fuses, links", default=0),
        given("nominal", "U_n", "V", 1, 3000, "nominal voltage of the circuit", required=False),
    ),
    outputs=(
        Output("drop", "ΔU", "V", "voltage lost"),
        Output("percent", "u", "%", "voltage lost as a share of the nominal voltage"),
    ),
    between=(*_BETWEEN, Output("resistance", "R_T", "Ω/km"), Output("per_metre", "r", "Ω/m")),
    steps=(
        Check(conductor_known, "area is missing: give area in mm², or per_km in Ω/km", input="area"),
        Lookup(
            "resistance_at_20", "conductor_resistance", ("material", "conductor_class", "area"), when=per_km_is_absent
        ),
        Lookup("inferred_zero", "inferred_zero", ("material",), when=per_km_is_absent),
        Step("resistance", resistance_at_temperature, when=per_km_is_absent),
        Step("resistance", resistance_as_given, silent=True),
        Step("per_metre", per_metre_of),
        Step("drop", loop_drop),
        Step("percent", drop_in_percent),
    ),
    cautions=(
        "Length is one way; the formula counts both conductors.",
        Caution("Fuses, switches and links add to the drop: state them as extra.", nothing_extra),
    ),
)
