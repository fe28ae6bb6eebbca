"""What a person changes about their own way in stands in the audit log of each of their projects."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from commissioning.models import User
from commissioning.selectors.access import memberships_of
from commissioning.services.audit import record


def record_in_projects(*, user: User, action: str, words: str, data: Mapping[str, Any] | None = None) -> None:
    """One entry a project, in one order, so that two people in the same projects never wait for each other."""
    for membership in memberships_of(user).order_by("project_id"):
        record(project=membership.project_id, actor=user, action=action, on=user, words=words, data=data)
