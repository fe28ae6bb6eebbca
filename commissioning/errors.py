"""What a service can answer besides doing the work. Views and API turn these into words and status codes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from commissioning.rules.gate import Blocker


class ServiceError(Exception):
    """Base of all refusals; `words` is one sentence that says what to do next."""

    def __init__(self, words: str) -> None:
        super().__init__(words)
        self.words = words


class NotAllowed(ServiceError):
    """The person's role in the project does not cover this (HTTP 403)."""


class SecondFactorNeeded(NotAllowed):
    """The project asks this person for a second factor at sign-in, and they have none."""

    def __init__(self) -> None:
        super().__init__(
            "This project asks you to sign in with a second factor. "
            "Set up a passkey or an authenticator app under your account, then come back."
        )


class Conflict(ServiceError):
    """Somebody else was first, or the same UUID came with other content (HTTP 409)."""


class NoRoom(ServiceError):
    """A disk is full: it passes when somebody makes room, and background work is tried again until then."""


class Busy(Conflict):
    """So much waits already that more is not taken on now (HTTP 429)."""


class InvalidInput(ServiceError):
    """Fields that cannot be accepted as typed (HTTP 400); what was typed stays with the person."""

    def __init__(self, fields: Mapping[str, str]) -> None:
        super().__init__("; ".join(fields.values()))
        self.fields = dict(fields)


class WrongSignature(InvalidInput):
    """Whoever signs is not who is signed in, or mistyped; the doors count it, since the act itself is taken back."""

    def __init__(self, words: str, signer: int) -> None:
        super().__init__({"password": words})
        self.signer = signer


class Refused(ServiceError):
    """The rules refuse, with every blocker as data (HTTP 422)."""

    def __init__(self, blockers: Sequence[Blocker]) -> None:
        super().__init__("; ".join(blocker.words for blocker in blockers))
        self.blockers = tuple(blockers)
