"""The fixed words a procedure file may use. Anything else is refused when the file is read."""

STAGES = ("mechanical_completion", "pre_energisation", "energisation", "battery_connected")
"""The four stages in the order in which they are accepted; a kind of system without a battery has no fourth."""

STAGE_PREFIXES = {
    "mechanical_completion": "mc",
    "pre_energisation": "pe",
    "energisation": "en",
    "battery_connected": "bc",
}
"""The letters a line's key begins with: the stage in which the line was born."""

SYSTEM_KINDS = ("dc_power_vented", "dc_power_vrla", "dc_power_nicd", "dc_board", "ups", "lv_board")
EQUIPMENT_KINDS = (
    "rectifier",
    "rectifier_module",
    "battery",
    "dc_board",
    "ups",
    "lv_board",
    "earth_fault_monitor",
    "monitor_unit",
    "fuse_detector",
    "protective_device",
    "cable",
    "relay",
    "other",
)
ACTIONS = ("inspect", "measure", "function_test", "witness")
WORK = ("dead", "live", "either")
POINTS = ("none", "hold", "witness", "review")
PARTIES = ("client", "manager")
REPEATS = ("each", "first", "following")
INPUT_KINDS = ("measured", "nameplate", "value", "recording")
UNITS = (
    "", "V", "A", "mA", "Ω", "mΩ", "µΩ", "kΩ", "MΩ", "Ω/km", "Ω·m", "°C", "K", "%", "Ah", "h", "min", "s", "ms",
    "m", "mm", "mm²", "m³/h", "Hz", "V/°C", "kVA", "N·m", "S",
)  # fmt: skip
"""Unit symbols as printed (IEC 80000); '' is a bare number."""
