"""What things are called in a copy: one text in their tags gives way to another. Plain facts in, names out."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

LONGEST_TAG = 60


@dataclass(frozen=True, slots=True)
class NewName:
    """A tag, what it becomes, and what is wrong with that."""

    old: str
    new: str
    problem: str = ""


def new_names(tags: Iterable[str], *, find: str, replace: str, taken: Collection[str]) -> tuple[NewName, ...]:
    """A new name for each tag. None may be left as it was, be taken already, or be given twice."""
    used = {tag.casefold() for tag in taken}
    found = []
    for tag in tags:
        new = tag.replace(find, replace) if find else tag
        problem = _problem(tag, new, find, used)
        used.add(new.casefold())
        found.append(NewName(tag, new, problem))
    return tuple(found)


def _problem(old: str, new: str, find: str, used: Collection[str]) -> str:
    if new == old:
        return f"does not hold {find}, so it would keep its name"
    if len(new) > LONGEST_TAG:
        return f"is longer than {LONGEST_TAG} characters"
    if new.casefold() in used:
        return "is taken"
    return ""
