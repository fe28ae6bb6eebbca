"""Projects: their settings and their people."""

from __future__ import annotations

import pytest

from commissioning.errors import Conflict, InvalidInput, NotAllowed
from commissioning.models import AuditEntry, Membership, Site
from commissioning.selectors.access import access_or_none, systems_for
from commissioning.services import projects
from tests.support.world import World, make_system

pytestmark = pytest.mark.django_db


def test_settings_change_with_both_values_in_the_audit(small_world: World) -> None:
    projects.change_settings(actor=small_world.manager, project=small_world.project, changes={"b_blocks_stage": True})
    entry = AuditEntry.objects.get(action="settings_changed")
    assert (entry.data["before"], entry.data["after"]) == ({"b_blocks_stage": False}, {"b_blocks_stage": True})


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"time_zone": "Mars/Olympus"}, "time_zone"),
        ({"decision_rule": "lenient"}, "decision_rule"),
        ({"guard_factor": 9.0}, "guard_factor"),
        ({"stage_plans": {"ups": ["energisation", "mechanical_completion"]}}, "stage_plans"),
        ({"code": "XX"}, "code"),
    ],
)
def test_a_setting_that_cannot_be_is_refused(small_world: World, changes: dict[str, object], field: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        projects.change_settings(actor=small_world.manager, project=small_world.project, changes=changes)
    assert set(caught.value.fields) == {field}


def test_a_member_of_one_site_sees_that_site_only(small_world: World) -> None:
    other = Site.objects.create(project=small_world.project, code="TTW", name="Tarnholt Treatment Works")
    make_system(site=other, tag="GUB90")
    projects.set_member(
        actor=small_world.manager, project=small_world.project, user=small_world.stranger, role="client", sites=[other]
    )
    access = access_or_none(user=small_world.stranger, project=small_world.project)
    assert access is not None
    assert [system.tag for system in systems_for(access)] == ["GUB90"]


def test_who_leaves_sees_nothing_any_more(small_world: World) -> None:
    membership = Membership.objects.get(user=small_world.engineer, project=small_world.project)
    projects.remove_member(actor=small_world.manager, membership=membership)
    assert access_or_none(user=small_world.engineer, project=small_world.project) is None


def test_the_last_manager_stays(small_world: World) -> None:
    membership = Membership.objects.get(user=small_world.manager, project=small_world.project)
    with pytest.raises(Conflict):
        projects.remove_member(actor=small_world.manager, membership=membership)
    with pytest.raises(Conflict):
        projects.set_member(
            actor=small_world.manager, project=small_world.project, user=small_world.manager, role="client"
        )


def test_a_client_is_no_authorised_person(small_world: World) -> None:
    with pytest.raises(InvalidInput):
        projects.set_member(
            actor=small_world.manager, project=small_world.project, user=small_world.client, role="client",
            authorised_person=True,
        )  # fmt: skip


def test_an_engineer_changes_neither_settings_nor_members(small_world: World) -> None:
    with pytest.raises(NotAllowed):
        projects.change_settings(actor=small_world.engineer, project=small_world.project, changes={"name": "Other"})
    with pytest.raises(NotAllowed):
        projects.set_member(
            actor=small_world.engineer, project=small_world.project, user=small_world.stranger, role="manager"
        )


def test_a_manager_of_one_site_cannot_take_the_others(small_world: World) -> None:
    limited, project = small_world.second_engineer, small_world.project
    place = {"project": project, "user": limited, "role": "manager"}
    projects.set_member(actor=small_world.manager, sites=[small_world.site], **place)
    with pytest.raises(NotAllowed, match="of every site"):
        projects.set_member(actor=limited, **place)
    with pytest.raises(NotAllowed, match="of every site"):
        projects.remove_member(actor=limited, membership=Membership.objects.get(user=small_world.engineer))
    with pytest.raises(NotAllowed, match="of every site"):
        projects.change_settings(actor=limited, project=project, changes={"b_blocks_stage": True})


def test_the_last_manager_of_every_site_keeps_them(small_world: World) -> None:
    project, manager = small_world.project, small_world.manager
    projects.set_member(
        actor=manager, project=project, user=small_world.engineer, role="manager", sites=[small_world.site]
    )
    with pytest.raises(Conflict, match="of every site"):
        projects.set_member(actor=manager, project=project, user=manager, role="manager", sites=[small_world.site])
    with pytest.raises(Conflict, match="of every site"):
        projects.remove_member(actor=manager, membership=Membership.objects.get(user=manager))
