"""A small project with its people, made by plain functions: what most tests start from.

Ombrefell Water and its sites are invented, and so is everybody in it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import count

from commissioning.models import Membership, Project, Role, Site, Stage, System, SystemKind, User
from commissioning.services import projects, register_places

#: Everybody's password in tests.
PASSWORD = "Tern-over-grey-water-41"
_numbers = count(1)


@dataclass(frozen=True)
class World:
    """One project, its people and a system with its stages."""

    project: Project
    site: Site
    system: System
    manager: User
    engineer: User
    second_engineer: User
    client: User
    stranger: User

    @property
    def stages(self) -> list[Stage]:
        return list(self.system.stages.order_by("order"))

    def stage(self, kind: str) -> Stage:
        return self.system.stages.get(kind=kind)


def make_user(*, username: str, name: str) -> User:
    """Somebody who can sign in with PASSWORD."""
    return User.objects.create_user(
        username=username, name=name, email=f"{username}@ombrefell.example", password=PASSWORD
    )


def manager_of(project: Project) -> User:
    """The manager who was there first."""
    return project.memberships.filter(role=Role.MANAGER).order_by("id").first().user


def make_member(
    *, project: Project, user: User, role: Role, sites: list[Site] | None = None, authorised_person: bool = False
) -> Membership:
    """A place in the project, for all its sites unless some are named."""
    return projects.set_member(
        actor=manager_of(project),
        project=project,
        user=user,
        role=role,
        sites=sites,
        authorised_person=authorised_person,
    )


def make_system(*, site: Site, tag: str, kind: str = SystemKind.DC_POWER_VRLA, name: str = "Telecom supply") -> System:
    """A system with the stages of its kind, and no check lines yet."""
    return register_places.create_system(actor=manager_of(site.project), site=site, tag=tag, name=name, kind=kind)


def make_project(*, kind: str = SystemKind.DC_POWER_VRLA, tag: str = "GUB10", **fields: object) -> World:
    """A project with a manager (authorised person), two field engineers, a client, a stranger and one system.

    The system has its stages without check lines. Calling it twice gives a second, separate project.
    """
    mark = f"{next(_numbers):03d}"
    people = {
        "manager": make_user(username=f"manager{mark}", name="Isolde Marrack"),
        "engineer": make_user(username=f"engineer{mark}", name="Tobin Ashgrove"),
        "second_engineer": make_user(username=f"second{mark}", name="Wren Halloway"),
        "client": make_user(username=f"client{mark}", name="Perpetua Lunn"),
        "stranger": make_user(username=f"stranger{mark}", name="Corwin Dace"),
    }
    described = {
        "code": f"OMB{mark}",
        "name": "Ombrefell Water, station supplies",
        "client_name": "Ombrefell Water",
        "contractor_name": "Pellwick Electrical",
        "time_zone": "Europe/London",
    }
    manager = people["manager"]
    project = projects.create_project(manager=manager, **{**described, **fields})
    make_member(project=project, user=manager, role=Role.MANAGER, authorised_person=True)
    make_member(project=project, user=people["engineer"], role=Role.FIELD_ENGINEER)
    make_member(project=project, user=people["second_engineer"], role=Role.FIELD_ENGINEER)
    make_member(project=project, user=people["client"], role=Role.CLIENT)
    site = register_places.create_site(actor=manager, project=project, code="QPS", name="Quillmarsh Pumping Station")
    system = make_system(site=site, tag=tag, kind=kind)
    return World(project=project, site=site, system=system, **people)
