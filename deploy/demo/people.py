"""The demo's people, and the logins that the command prints."""

from __future__ import annotations

from dataclasses import dataclass

from commissioning.models import Project, Role, User
from commissioning.services import projects
from deploy.demo.walk import Team

PROJECT_CODE = "OMB"


@dataclass(frozen=True)
class Login:
    """Somebody to sign in as."""

    role: str
    username: str
    name: str
    password: str


LOGINS = [
    Login("manager", "isolde", "Isolde Marrack", "reed-warbler-48-volt"),
    Login("field engineer", "tobin", "Tobin Ashgrove", "reed-warbler-125-volt"),
    Login("client", "perpetua", "Perpetua Lunn", "reed-warbler-24-volt"),
]
#: At the far end of a signal somebody else confirms.
SECOND = Login("field engineer", "wren", "Wren Halloway", "reed-warbler-230-volt")


def make_people() -> tuple[Project, Team]:
    """The users, and the project with each in their place."""
    users = {login.username: _user(login) for login in [*LOGINS, SECOND]}
    manager, engineer, client = (users[login.username] for login in LOGINS)
    project = projects.create_project(
        manager=manager,
        code=PROJECT_CODE,
        name="Ombrefell Water, station supplies",
        client_name="Ombrefell Water",
        contractor_name="Pellwick Electrical",
        time_zone="Europe/London",
    )
    places = (
        (manager, Role.MANAGER, True, "Pellwick Electrical"),
        (engineer, Role.FIELD_ENGINEER, False, "Pellwick Electrical"),
        (users[SECOND.username], Role.FIELD_ENGINEER, False, "Pellwick Electrical"),
        (client, Role.CLIENT, False, "Ombrefell Water"),
    )
    for user, role, authorised, company in places:
        projects.set_member(
            actor=manager, project=project, user=user, role=role, authorised_person=authorised, company=company
        )
    passwords = {users[login.username].pk: login.password for login in [*LOGINS, SECOND]}
    return project, Team(manager, engineer, users[SECOND.username], client, passwords)


def _user(login: Login) -> User:
    return User.objects.create_user(
        username=login.username, name=login.name, email=f"{login.username}@ombrefell.example", password=login.password
    )
