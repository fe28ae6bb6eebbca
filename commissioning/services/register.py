"""The door to what changes the register: sites, systems, equipment, dependencies, points and instruments.

A workbook changes the same register in bulk through `commissioning.register_import`; both clean what was typed by the
same columns.
"""

from commissioning.services.dependencies import add_dependency, remove_dependency
from commissioning.services.register_common import KEEP
from commissioning.services.register_places import (
    change_equipment,
    change_site,
    change_system,
    create_equipment,
    create_site,
    create_system,
)
from commissioning.services.register_points import (
    add_range,
    change_instrument,
    change_range,
    change_signal_point,
    change_supply_point,
    create_instrument,
    create_signal_point,
    create_supply_point,
)

__all__ = [
    "KEEP",
    "add_dependency",
    "add_range",
    "change_equipment",
    "change_instrument",
    "change_range",
    "change_signal_point",
    "change_site",
    "change_supply_point",
    "change_system",
    "create_equipment",
    "create_instrument",
    "create_signal_point",
    "create_site",
    "create_supply_point",
    "create_system",
    "remove_dependency",
]
