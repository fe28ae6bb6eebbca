"""Ripple of a charger: the AC that lies on the battery's DC voltage, and the AC that flows through its cells."""

from __future__ import annotations

from calcs.definition import Caution, Check, Output, Step, define, given, measured
from calcs.float_charge import BATTERY_IS_LIVE, MAKER_DECIDES
from calcs.maths import maximum, mean, minimum, sqrt, total


def dc_of_samples(samples):
    """DC component of a sampled voltage: its mean over whole periods [V]. Example: 122.1, 123.3 V: 122.7 V."""
    return mean(samples)


def rms_of_samples(samples, dc_in_use):
    """AC component of a sampled voltage.

        U_rms = √(Σ(u_i − U)²/n)

    U_rms: rms of what lies on the DC [V]; u_i: samples, evenly spaced over whole periods [V]; U: DC component [V].
    Example: 122.1, 123.3 V: 0.6 V. Reference: definition of the rms value.
    """
    return sqrt(total([(one - dc_in_use) ** 2 for one in samples]) / len(samples))


def peaks_of_samples(samples):
    """Peak-to-peak ripple of a sampled voltage: U_pp = max(u) − min(u) [V]. Example: 122.1, 123.3 V: 1.2 V."""
    return maximum(samples) - minimum(samples)


def as_measured(dc):
    """DC voltage as measured [V]."""
    return dc


def rms_as_measured(rms):
    """Ripple voltage as measured [V rms]."""
    return rms


def peaks_as_measured(peak_to_peak):
    """Ripple voltage as measured [V peak to peak]."""
    return peak_to_peak


def share_rms(rms_in_use, dc_in_use):
    """Ripple voltage over DC voltage: r = 100·U_rms/U [%]. Example: 0.6 V on 122.7 V: 0.4890 %."""
    return 100 * rms_in_use / dc_in_use


def share_peaks(peaks_in_use, dc_in_use):
    """Peak-to-peak ripple over DC voltage: r_pp = 100·U_pp/U [%]. Example: an ideal six-pulse bridge: 14.030 %."""
    return 100 * peaks_in_use / dc_in_use


def current_per_capacity(ripple_current, capacity):
    """Ripple current for each 100 Ah of capacity: i = 100·I_rms/C [A/100 Ah]. Example: 8 A on 200 Ah: 4.0."""
    return 100 * ripple_current / capacity


def dc_is_given(dc=None):
    """The DC voltage was measured."""
    return dc is not None


def dc_is_absent(dc=None):
    """The DC voltage comes from the samples."""
    return dc is None


def dc_known(dc=None, samples=None, rms=None, peak_to_peak=None):
    """A ripple voltage has a DC voltage to be compared with."""
    return dc is not None or samples is not None or (rms is None and peak_to_peak is None)


def something_given(rms=None, peak_to_peak=None, samples=None, ripple_current=None):
    """A ripple voltage or a ripple current is given."""
    return any(one is not None for one in (rms, peak_to_peak, samples, ripple_current))


def capacity_with_current(ripple_current=None, capacity=None):
    """A ripple current has a capacity to be compared with."""
    return ripple_current is None or capacity is not None


def two_samples(samples):
    """Ripple needs two samples or more."""
    return len(samples) >= 2


def dc_positive(dc_in_use):
    """The DC voltage is above zero."""
    return dc_in_use > 0


def few_samples(samples):
    """There are few samples for a wave."""
    return len(samples) < 32


define(
    "ripple",
    module=__name__,
    title="Ripple voltage and current of a charger on its battery",
    inputs=(
        measured("dc", "U", "V", 0.1, 3000, "DC voltage at the battery", required=False),
        measured("rms", "U_rms", "V", 0, 3000, "AC voltage at the battery, true rms, AC coupled", required=False),
        measured("peak_to_peak", "U_pp", "V", 0, 3000, "ripple on an oscilloscope, peak to peak", required=False),
        measured("samples", "u", "V", -3000, 3000, "sampled voltage over whole periods", kind="list", required=False),
        measured("ripple_current", "I_rms", "A", 0, 100_000, "AC current in the battery cable", required=False),
        given("capacity", "C", "Ah", 0.1, 1_000_000, "rated capacity of the battery", required=False),
    ),
    outputs=(
        Output("rms_percent", "r", "%", "ripple voltage, rms, as a share of the DC voltage"),
        Output("peak_to_peak_percent", "r_pp", "%", "ripple voltage, peak to peak, as a share of the DC voltage"),
        Output("amps_per_100ah", "i", "A/(100 Ah)", "ripple current for each 100 Ah of capacity"),
    ),
    between=(
        Output("dc_in_use", "U", "V", "DC voltage"),
        Output("rms_in_use", "U_rms", "V", "ripple voltage, rms"),
        Output("peaks_in_use", "U_pp", "V", "ripple voltage, peak to peak"),
    ),
    steps=(
        Check(
            something_given,
            "rms is missing: give rms, peak_to_peak or samples in V, or ripple_current in A with capacity in Ah",
            input="rms",
        ),
        Check(dc_known, "dc is missing: the DC voltage at the battery in V", input="dc"),
        Check(capacity_with_current, "capacity is missing: rated capacity of the battery in Ah", input="capacity"),
        Check(two_samples, "samples: give two or more, evenly spaced over whole periods", input="samples"),
        Step("dc_in_use", dc_of_samples, when=dc_is_absent, text="Σu_i/n"),
        Step("dc_in_use", as_measured, when=dc_is_given, silent=True),
        Check(dc_positive, "samples: their mean, {dc_in_use}, is no DC voltage of a battery", input="samples"),
        Step("rms_in_use", rms_of_samples, text="√(Σ(u_i − U)²/n)"),
        Step("rms_in_use", rms_as_measured, silent=True),
        Step("peaks_in_use", peaks_of_samples, text="max(u) − min(u)"),
        Step("peaks_in_use", peaks_as_measured, silent=True),
        Step("rms_percent", share_rms),
        Step("peak_to_peak_percent", share_peaks),
        Step("amps_per_100ah", current_per_capacity),
    ),
    cautions=(Caution("Few samples: take many, over whole periods of the ripple.", few_samples), MAKER_DECIDES),
    attention=(BATTERY_IS_LIVE,),
)
