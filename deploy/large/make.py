"""The whole of a large project, in one transaction, with the triggers of the search set aside meanwhile."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from random import Random

from django.db import connection, transaction
from django.utils import timezone

from commissioning.finding import index
from commissioning.models import Project, Role, System, User
from commissioning.services import counters, projects
from deploy.large import plant, record
from deploy.large.writing import Keys

PEOPLE = {
    "manager": ("Isolde Marrack", Role.MANAGER),
    "engineer": ("Tobin Ashgrove", Role.FIELD_ENGINEER),
    "client": ("Perpetua Lunn", Role.CLIENT),
}


@dataclass(frozen=True, slots=True)
class Size:
    """How much of everything."""

    sites: int = 500
    systems: int = 10_000
    items: int = 1_000_000
    readings: int = 1_000_000


def make_large(
    *, code: str, size: Size, seed: int, password: str | None = None, say: Callable[[str], None] = lambda words: None
) -> Project:
    """The project, with its three people; without a password nobody can sign in as one of them."""
    with transaction.atomic(), index.set_aside(connection):
        people = {key: _person(code, key, name, password) for key, (name, _) in PEOPLE.items()}
        described = {"code": code, "name": "Ombrefell Water, every station", "client_name": "Ombrefell Water"}
        project = projects.create_project(
            manager=people["manager"], contractor_name="Pellwick Electrical", time_zone="Europe/London", **described
        )
        for key, (_, role) in PEOPLE.items():
            projects.set_member(
                actor=people["manager"],
                project=project,
                user=people[key],
                role=role,
                authorised_person=role == Role.MANAGER,
            )
        now = timezone.now().replace(minute=0, second=0, microsecond=0)
        making = plant.Making(project=project, people=people, keys=Keys(code, seed), choose=Random(seed), now=now)  # noqa: S311 (no secret)
        say(f"{size.sites} sites, {size.systems} systems")
        plans = plant.plan_systems(making, plant.make_sites(making, size.sites), size.systems)
        plant.make_systems(making, plans)
        say("check lines")
        plant.make_lines(making, plans)
        say(f"{size.readings} readings")
        record.make_readings(making, plans, size.readings)
        say(f"{size.items} punch items")
        record.make_items(making, plans, size.items)
        record.make_alarms(making, plans)
        say("counters")
        counters.recount(System.objects.filter(project=project).values_list("pk", flat=True))
        say("the search")
    _analyse()
    return project


def _person(code: str, key: str, name: str, password: str | None) -> User:
    username = f"{key}-{code.lower()}"
    person = User(username=username, name=name, email=f"{username}@ombrefell.example")
    person.set_password(password)
    person.save()
    return person


def _analyse() -> None:
    """The database learns how much there is, as it would by itself some minutes later."""
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
