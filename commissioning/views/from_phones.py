"""From the phone: what arrived, from whose phone, what was refused and why, and both records of a conflict."""

from __future__ import annotations

from typing import Any

from django.core.paginator import Paginator
from django.http import HttpResponse

from commissioning.errors import NotAllowed
from commissioning.models import OutboxItem, OutboxState
from commissioning.selectors.from_phones import TOLD, WANTED, Meeting, from_phones, meetings
from commissioning.services.outbox_deeds import kind_words
from commissioning.views.base import ProjectRequest, page, project_view
from commissioning.views.jobs import tabs
from commissioning.views.links import page_url, record_url
from commissioning.views.standing import may_work

PAGE_SIZE = 50
#: A state's word with the shape and colour that it is drawn in.
LOOKS = {"arrived": "done", "needs_you": "sent-back", "mended": "done", "dropped": "withdrawn"}
CHOICES = {"": "everything", OutboxState.NEEDS_YOU: "needs somebody", TOLD: "something had changed meanwhile",
           OutboxState.MENDED: "mended", OutboxState.DROPPED: "dropped"}  # fmt: skip
#: What a person typed, in the order in which it is read; the rest of a body are ids and times.
TYPED = ("outcome", "category", "text", "typed", "values", "lock_number", "point_of_work", "detector", "caption",
         "reason", "remark")  # fmt: skip
#: A clock that is off by less is not worth a word.
CLOCK_SECONDS = 60


@project_view
def show(request: ProjectRequest) -> HttpResponse:
    """What phones have sent, newest first; `?state=` narrows it."""
    access = request.access
    if not may_work(access):
        raise NotAllowed("What phones send is for the field engineers and managers who record it.")
    wanted = request.GET.get("state", "")
    wanted = wanted if wanted in WANTED else ""
    found = Paginator(from_phones(access, wanted), PAGE_SIZE).get_page(request.GET.get("page", 1))
    items = list(found)
    met = meetings(items, access)
    context = {
        "page_obj": found,
        "rows": [_row(item, met.get(item.pk, Meeting()), access.project.code) for item in items],
        "choices": [{"state": state, "words": words, "current": state == wanted} for state, words in CHOICES.items()],
        "narrowed": bool(wanted),
        "everybodys": access.is_manager,
        "tabs": tabs(access, "from-phones"),
    }
    return page(request, "commissioning/from_phones/show.html", context, section="project-settings")


def _row(item: OutboxItem, met: Meeting, code: str) -> dict[str, Any]:
    url = record_url(code=code, kind=item.record_kind, id=str(item.record_id)) if item.record_id else ""
    if not url and met.line is not None:
        url = page_url("line-record", code, met.line.pk)
    reason = (item.refusal or {}).get("detail", "")
    return {
        "item": item,
        "what": kind_words(item.kind),
        "look": LOOKS[item.state],
        "word": "needs somebody" if item.state == OutboxState.NEEDS_YOU else item.get_state_display(),
        "url": url,
        "met": met,
        "both": [("from the phone", met.mine), ("the other", met.theirs)],
        "reason": reason,
        "said": [words for words in item.sentences if words != reason],
        "typed": _typed(item) if item.state != OutboxState.ARRIVED else [],
        "clock": _clock(item.skew_seconds),
    }


def _typed(item: OutboxItem) -> list[tuple[str, str]]:
    """What was recorded, as it was typed: of what was refused this is the only place where it stands."""
    found: list[tuple[str, str]] = []
    for name in TYPED:
        value = item.body.get(name)
        if isinstance(value, dict):
            found += [(key.replace("_", " "), str(text)) for key, text in value.items()]
        elif value:
            found.append((name.replace("_", " "), str(value).replace("_", " ") if name == "outcome" else str(value)))
    return found


def _clock(seconds: float) -> str:
    if abs(seconds) <= CLOCK_SECONDS:
        return ""
    return f"its clock was {round(abs(seconds) / 60)} min {'slow' if seconds > 0 else 'fast'}, corrected"
