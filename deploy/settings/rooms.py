"""Where rooms meet that may not import each other: dotted paths, as Django does with MIDDLEWARE."""

from deploy.environment import number, text

from .place import DATA_DIR

GATE_FACT_SOURCES = ["punchlist.gate_facts.punch_facts"]
COUNTER_SOURCES = ["punchlist.counting.SOURCE"]
DOSSIER_SECTIONS = ["punchlist.dossier_section.punch_section"]
#: What keeps items that hold gates, and tells when they were raised and closed: a forecast rests on it.
ITEM_HISTORIES = ["punchlist.item_history.HISTORY"]
#: The operator's certificate (PEM, followed by those that issued it) and its private key; without them the embedded
#: product makes one for itself, which shows that nothing was changed, not who signed.
SIGNING_CERTIFICATE = text("TRACKER_SIGNING_CERTIFICATE", "")
SIGNING_KEY = text("TRACKER_SIGNING_KEY", "")
#: Scratch of this machine's workers; workers on different machines share the storage, never this.
DOSSIER_WORK_DIR = DATA_DIR / "dossier-work"
#: So many other workers are called to draw a part of a large dossier; those that are busy come when they are free.
DOSSIER_HELPERS = number("TRACKER_DOSSIER_HELPERS")
REGISTER_SHEETS = ["punchlist.register_sheet.SHEET"]
#: What rooms above commissioning add to each system that a phone takes along: name of the part, `(system_ids) -> rows`.
TAKE_ALONG_SOURCES = {"punch_items": "punchlist.take_along.open_items"}
#: What members owe, for their daily mail: `(membership, until) -> what is due by then`.
OWED_SOURCES = ["punchlist.selectors.owed.owed"]
#: Kinds of deed that are taken from phones which were without signal.
OUTBOX_KINDS = ["commissioning.api.outbox_kinds.KINDS", "punchlist.api.outbox_kinds.KINDS"]
#: Pages of records that rooms above commissioning own: kind of record, URL name taking project code and record id.
RECORD_URLS = {"item": "punch-item-by-id", "punchlist.punchitem": "punch-item-by-id"}
#: Apps whose tables a project's export holds.
EXPORTED_APPS = ("commissioning", "punchlist")
#: What the search box finds, in the order of its groups.
FIND_SOURCES = ["commissioning.finding.plant.SOURCES", "punchlist.find_source.SOURCES"]
