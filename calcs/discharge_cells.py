"""The cells of a discharged string against each other: which are weak, and which reversed.

Steps of the calculation `discharge_log`.
"""

from __future__ import annotations

import math
from statistics import median

from calcs import discharge as steps
from calcs.uncertainty import nominal


def last_of_cells(discharge, counted):
    """Voltage of each cell at the end [V], from the log."""
    return steps.cells_at(discharge, counted)


def cells_as_given(final_cells):
    """Voltage of each cell at the end [V], as listed."""
    return final_cells


def _known(values):
    return [one for one in nominal(values) if math.isfinite(one)]


def spread_of_cells(at_end):
    """Highest less lowest cell voltage at the end: s = max(u) − min(u) [V]. Example: 1.846, 1.791 V: 0.055 V."""
    known = [one for one in at_end if math.isfinite(nominal(one))]
    return max(known, key=nominal) - min(known, key=nominal)


def middle_of_cells(at_end):
    """Median of the cell voltages at the end [V]. Example: eight cells about 1.842 V: 1.8425 V."""
    return median(_known(at_end))


def robust_deviations(at_end, middle_cell):
    """Robust deviation of each cell.

        z_i = (u_i − ũ)/(1.4826·MAD)

    z: deviation [1]; u: cell voltage at the end [V]; ũ: median [V]; MAD: median of |u − ũ| [V]. Half of the cells may
    be bad before it is misled. Example: a cell of 1.791 V among seven about 1.843 V: −17.368, where the ordinary z,
    −2.46, misses it. Reference: Iglewicz and Hoaglin, How to detect and handle outliers, 1993.
    """
    values = nominal(at_end)
    size = 1.4826 * median(abs(one - middle_cell) for one in _known(at_end))
    return steps.Many(_deviation(one - middle_cell, size) for one in values)


def _deviation(off, size):
    if not math.isfinite(off):
        return 0.0
    return off / size if size > 1e-9 else math.copysign(1e3, off) if abs(off) > 1e-9 else 0.0


def weak_by_rule(at_end, middle_cell, robust_z, z_limit, margin, block_cells, end_voltage_per_cell):
    """Places of weak cells, counted from 1: below the median by the margin, and an outlier or below the end voltage."""
    deep = margin * math.sqrt(block_cells)
    floor = end_voltage_per_cell * block_cells
    return [
        place
        for place, (value, z) in enumerate(zip(nominal(at_end), robust_z, strict=True), 1)
        if value < middle_cell - deep and (z < z_limit or value < floor)
    ]


def lowest_z_of(robust_z):
    """Robust deviation of the lowest cell [1]."""
    return min(robust_z)


def lowest_in_log(discharge):
    """Lowest voltage of each cell while the load was on [V]."""
    return steps.lowest_under_load(discharge)


def reversed_cells(at_end, lowest=None):
    """Places of cells that were reversed (below 0 V) at any moment under load, counted from 1."""
    values = nominal(at_end) if lowest is None else lowest
    return [place for place, value in enumerate(values, 1) if value < 0]


def count_of_weak(weak_cells):
    """Number of weak cells."""
    return len(weak_cells)


def count_of_reversed(reversed):
    """Number of reversed cells."""
    return len(reversed)


def cells_listed(final_cells=None):
    """The cell voltages at the end are listed."""
    return final_cells is not None


def cells_not_listed(final_cells=None):
    """The cell voltages at the end come from the log."""
    return final_cells is None


def enough_cells(at_end):
    """There are cells to be compared."""
    return len(_known(at_end)) >= 2


def cells_do_not_match(at_end, cells, block_cells):
    """The log has another number of cells than the battery."""
    return len(at_end) * block_cells != cells


def has_blocks(block_cells):
    """Voltages of blocks were logged."""
    return block_cells > 1
