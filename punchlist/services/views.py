"""Filters of the punch list that somebody gave a name."""

from __future__ import annotations

from uuid import UUID

from commissioning.errors import InvalidInput, NotAllowed
from commissioning.models import Project, User
from commissioning.services.audit import record
from commissioning.services.permissions import EVERYONE, require
from commissioning.services.repeats import already_made
from commissioning.services.state_change import state_change
from punchlist.models import SavedView

VIEWS_EACH = 30


@state_change()
def save_view(
    *, actor: User, project: Project, name: str, query: str, shared: bool = False, id: UUID | None = None
) -> SavedView:
    """Keep a filter under a name, for oneself or for everybody in the project. The same name again replaces it."""
    access = require(actor=actor, project=project, roles=EVERYONE, site=None, to="keep a view of the punch list")
    if found := already_made(SavedView, id, project_id=project.pk, owner_id=actor.pk):
        return found
    name = " ".join(name.split())
    if not 0 < len(name) <= 80 or "\x00" in name:
        raise InvalidInput({"name": "Give the view a name of at most 80 characters."})
    if len(query) > 500 or "\x00" in query:
        raise InvalidInput({"name": "This filter is too long to keep. Shorten the search words."})
    if shared and not access.is_manager:
        raise NotAllowed("A manager can keep a view for everybody. Keep it for yourself.")
    own = SavedView.objects.filter(project=project, owner=actor)
    if own.exclude(name=name).count() >= VIEWS_EACH:
        raise InvalidInput({"name": f"You keep {VIEWS_EACH} views already. Drop one first."})
    view = own.filter(name=name).first() or SavedView(project=project, owner=actor, name=name)
    if view._state.adding and id is not None:
        view.pk = id
    view.query, view.shared = query, shared
    view.save()
    record(
        project=project,
        actor=actor,
        action="punch_view_kept",
        on=view,
        words=f"Kept the view '{name}'" + (" for everybody." if shared else "."),
        data={"query": query, "shared": shared},
    )
    return view


@state_change()
def drop_view(*, actor: User, view: SavedView) -> None:
    """Drop a view: one's own, or, as a manager, one that is shared."""
    access = require(
        actor=actor, project=view.project_id, roles=EVERYONE, site=None, to="drop a view of the punch list"
    )
    if view.owner_id != actor.pk and not (view.shared and access.is_manager):
        raise NotAllowed("This view is somebody else's. Its owner can drop it.")
    record(
        project=view.project_id,
        actor=actor,
        action="punch_view_dropped",
        on=view,
        words=f"Dropped the view '{view.name}'.",
        data={"query": view.query, "owner": view.owner_id},
    )
    view.delete()
