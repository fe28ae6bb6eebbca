"""The functions a formula may use, each for a float, an uncertain value and a numpy array alike.

Formula bodies keep to these, to arithmetic and to comparisons, so that one text of a formula serves the shell, the
page, a million readings at once, and a translation into another language.
"""

from __future__ import annotations

import math
from functools import lru_cache, reduce
from typing import Any

from calcs.uncertainty import nominal


def _apply(name: str, value: Any) -> Any:
    if isinstance(value, int | float):
        return getattr(math, name)(value)
    if hasattr(value, "std_dev"):
        from uncertainties import umath

        return getattr(umath, name)(value)
    import numpy

    return getattr(numpy, name)(value)


def _is_array(value: Any) -> bool:
    return hasattr(value, "dtype") and hasattr(value, "shape") and bool(value.shape)


def sqrt(x: Any) -> Any:
    """Square root."""
    return _apply("sqrt", x)


def log(x: Any) -> Any:
    """Natural logarithm."""
    return _apply("log", x)


def exp(x: Any) -> Any:
    """Exponential function."""
    return _apply("exp", x)


def cbrt(x: Any) -> Any:
    """Cube root of a value that is not negative."""
    return x ** (1 / 3)


def absolute(x: Any) -> Any:
    """Size without the sign."""
    return abs(x) if isinstance(x, int | float) or not hasattr(x, "std_dev") else (-x if nominal(x) < 0 else x)


def where(condition: Any, then: Any, otherwise: Any) -> Any:
    """`then` where the condition holds, else `otherwise`; conditions compare `nominal(x)`, not uncertain values."""
    if _is_array(condition):
        import numpy

        return numpy.where(condition, then, otherwise)
    return then if condition else otherwise


def _fold(values: tuple[Any, ...], name: str, plain: Any) -> Any:
    each = values[0] if len(values) == 1 else values
    if any(_is_array(one) for one in each):
        import numpy

        return reduce(getattr(numpy, name), each)
    return plain(each, key=nominal)


def maximum(*values: Any) -> Any:
    """Largest of several values, or of one list."""
    return _fold(values, "maximum", max)


def minimum(*values: Any) -> Any:
    """Smallest of several values, or of one list."""
    return _fold(values, "minimum", min)


def total(values: Any) -> Any:
    """Sum of a list."""
    return sum(values)


def mean(values: Any) -> Any:
    """Arithmetic mean of a list."""
    return sum(values) / len(values)


def floor(x: Any) -> Any:
    """Largest whole number that is not above x, forgiving the last binary digits (2.9999999999 is 3)."""
    if _is_array(x):
        import numpy

        return numpy.floor(x + 1e-9)
    return math.floor(nominal(x) + 1e-9)


def ceil(x: Any) -> Any:
    """Smallest whole number that is not below x, forgiving the last binary digits (2.0000000001 is 2)."""
    return -floor(-x)


def normal_distribution(z: Any) -> Any:
    """Standard normal distribution function Φ(z), to 1e-12 for arrays and to the last digits for a float."""
    if not _is_array(z):
        return 0.5 * math.erfc(-z / math.sqrt(2))
    import numpy

    values, slopes = _normal_table()
    place = numpy.clip(z, -_NORMAL_END, _NORMAL_END)
    place = numpy.where(place == place, place, 0.0)
    place = (place + _NORMAL_END) * _NORMAL_STEPS
    index = numpy.minimum(place.astype(numpy.int32), len(values) - 2)
    t = place - index
    left, right = values[index], values[index + 1]
    # cubic Hermite: through both ends with the exact slopes there
    m0, m1 = slopes[index], slopes[index + 1]
    rise = right - left
    return left + t * (m0 + t * (3 * rise - 2 * m0 - m1 + t * (m0 + m1 - 2 * rise)))


_NORMAL_END = 9.0
_NORMAL_STEPS = 256


@lru_cache(maxsize=1)
def _normal_table() -> tuple[Any, Any]:
    """Φ and its slope per step at evenly spaced places from −9 to 9."""
    import numpy

    places = numpy.arange(-_NORMAL_END, _NORMAL_END + 0.5 / _NORMAL_STEPS, 1 / _NORMAL_STEPS)
    values = numpy.array([0.5 * math.erfc(-z / math.sqrt(2)) for z in places])
    return values, numpy.exp(-places * places / 2) / math.sqrt(2 * math.pi) / _NORMAL_STEPS
