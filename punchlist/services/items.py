"""The door to what changes punch items: raise, change, rectify, send back, close, reopen, assign."""

from punchlist.services.assignment import Assignment, assign_items, last_assignment, undo_assignment
from punchlist.services.common import KEEP
from punchlist.services.raising import change_item, raise_item
from punchlist.services.steps import close_item, rectify_item, reopen_item, send_back_item

__all__ = [
    "KEEP",
    "Assignment",
    "assign_items",
    "change_item",
    "close_item",
    "last_assignment",
    "raise_item",
    "rectify_item",
    "reopen_item",
    "send_back_item",
    "undo_assignment",
]
