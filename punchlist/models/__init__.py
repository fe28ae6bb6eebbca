from .comments import DossierComment
from .items import STANDING_STATES, Category, ItemState, ItemStep, Photo, PunchItem, SavedView

__all__ = [
    "STANDING_STATES",
    "Category",
    "DossierComment",
    "ItemState",
    "ItemStep",
    "Photo",
    "PunchItem",
    "SavedView",
]
