"""What if this item closes?"""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.views.decorators.http import require_GET

from commissioning.rules.gate import StageFacts
from commissioning.selectors.freeing import if_done
from commissioning.views.base import ProjectRequest, page, project_view, use_site_zone
from commissioning.views.links import page_url
from punchlist.models import ItemState
from punchlist.selectors.items import item_or_404


@require_GET
@project_view
def show(request: ProjectRequest, number: int) -> HttpResponse:
    """The gates that pass once it is closed, with all that wait for them; and what the others still lack."""
    access, code = request.access, request.access.project.code
    item = item_or_404(access, number=number)
    use_site_zone(item.system.site)
    context: dict[str, Any] = {"item": item, "closed": item.state == ItemState.CLOSED}
    if not context["closed"]:
        found = if_done(access=access, system=item.system_id, kind="item", id=str(item.pk))
        context |= {
            "freed": [_gate(one, code) for one in found.freed],
            "unseen": found.unseen,
            "count": len(found.freed) + found.unseen,
            "still_held": [{**_gate(one, code), "left": left, "waits": waits} for one, left, waits in found.still_held],
        }
    return page(request, "punchlist/if_closed.html", context, section="punch-list", system=item.system)


def _gate(facts: StageFacts, code: str) -> dict[str, Any]:
    return {"words": facts.words, "url": page_url("stage", code, UUID(facts.stage_id))}
