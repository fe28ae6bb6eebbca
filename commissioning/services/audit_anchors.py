"""Does the chain still say what the dossiers took from it? A chain that was written anew from the start holds in
itself; the dossiers, which are frozen, signed and in other hands, carry its links as they were."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass

from commissioning.models import AuditEntry, Dossier, Project


@dataclass(frozen=True, slots=True)
class AnchorFault:
    """A dossier whose record of the chain is not what the chain says now."""

    dossier: str
    sequence: int | None  # None: the head that the dossier was bound to is in the chain no more
    words: str


def anchor_faults(project: Project) -> Iterator[AnchorFault]:
    """Every dossier of the project whose links differ from the chain, the oldest dossier first.

    Reads one content file at a time; a file that cannot be read is a fault too.
    """
    for dossier in Dossier.objects.filter(project=project, built_at__isnull=False).order_by("built_at"):
        yield from faults_of(dossier)


def faults_of(dossier: Dossier) -> Iterator[AnchorFault]:
    name = f"{dossier} of {dossier.built_at:%Y-%m-%d}"
    try:
        with dossier.content.open("rb") as file:
            audit = json.load(file)["audit_extract"]
    except (OSError, ValueError, KeyError):
        yield AnchorFault(name, None, "its content file cannot be read")
        return
    yield from differing(project=dossier.project, audit=audit, name=name)


def differing(*, project: Project, audit: dict, name: str) -> Iterator[AnchorFault]:
    """The links in `audit` ({head_hash, entries: [{seq, hash}]}, as a dossier carries them) that the chain lacks."""
    chain = AuditEntry.objects.filter(project=project)
    if audit["head_hash"] and not chain.filter(hash=audit["head_hash"]).exists():
        yield AnchorFault(name, None, "the head of the chain it was bound to is in the chain no more")
    taken = {int(one["seq"]): one["hash"] for one in audit["entries"]}
    now = dict(chain.filter(sequence__in=list(taken)).values_list("sequence", "hash"))
    for sequence, hash in sorted(taken.items()):
        if now.get(sequence) != hash:
            yield AnchorFault(name, sequence, f"entry {sequence} is not what the dossier took from the chain")
            return
