"""What is this thing, is it safe, what is wrong with it?"""

from __future__ import annotations

from uuid import UUID

from django.http import Http404, HttpResponse
from django.shortcuts import redirect

from commissioning.selectors.system import equipment_by_tag, equipment_or_404, system_standing
from commissioning.selectors.tag import lines_on, readings_on, signals_of
from commissioning.views.base import ProjectRequest, page, project_view, use_site_zone
from commissioning.views.links import page_url, record_url
from commissioning.views.standing import record_deeds, rows
from commissioning.views.system import nameplate_rows


@project_view
def show(request: ProjectRequest, id: UUID) -> HttpResponse:
    """A piece of equipment: the state of its system, what is open on it, its last readings."""
    access, code = request.access, request.access.project.code
    equipment = equipment_or_404(access=access, id=id)
    use_site_zone(equipment.system.site)
    standing = system_standing(equipment.system)
    in_hand = standing.in_hand
    items = [item for item in (in_hand or standing.stages[-1]).facts.items if item.where == equipment.tag]
    lines = [{"line": line, "url": record_url(code=code, kind="line", id=str(line.pk))} for line in lines_on(equipment)]
    context = {
        "equipment": equipment,
        "in_hand": in_hand,
        "holds": rows((b for b in (in_hand.holds if in_hand else ()) if b.where == equipment.tag), access),
        "items": [{"item": item, "url": record_url(code=code, kind="item", id=item.id)} for item in items],
        "items_url": page_url("punch-list", code, tag=equipment.tag, state="any"),
        "new_item_url": page_url("punch-new", code, equipment=equipment.pk),
        "record_deeds": record_deeds(in_hand.stage if in_hand else None, access, system_id=equipment.system_id)[1:2],
        "lines": lines,
        "readings": readings_on(equipment),
        "signals": signals_of(equipment),
        "children": equipment.children.order_by("tag"),
        "nameplate": nameplate_rows(equipment.nameplate),
    }
    return page(request, "commissioning/tag/show.html", context, section="portfolio", system=equipment.system)


@project_view
def by_name(request: ProjectRequest, tag: str) -> HttpResponse:
    """What a label opens: the equipment with this tag, or the one that carried it before."""
    found = equipment_by_tag(access=request.access, tag=tag)
    if found is None:
        raise Http404(f"No equipment carries the tag {tag} here, now or before.")
    return redirect("tag", code=request.access.project.code, id=found.pk)
