"""Row locks, always taken in one order (project, system, counters, audit chain), so that two writers never deadlock.

They are `no_key` locks: a row that merely points at the project or the system (an audit entry does) does not wait for
them. With full locks, a writer that holds a system would wait there for one that holds the project, and the other way.
"""

from __future__ import annotations

from uuid import UUID

from commissioning.models import Project, System


def lock_project(project_id: UUID) -> Project:
    """Acts that look across systems (accept, withdraw, depend, number) take turns within a project."""
    return Project.objects.select_for_update(no_key=True).get(pk=project_id)


def lock_system(system_id: UUID) -> System:
    """Acts on one system take turns within it, so that a gate decides on facts that stand still."""
    return (
        System.objects.select_for_update(of=("self",), no_key=True).select_related("project", "site").get(pk=system_id)
    )
