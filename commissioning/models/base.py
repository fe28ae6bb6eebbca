"""What every record shares: an identity that a phone can make before the server has seen it."""

from uuid import UUID

import uuid_utils.compat
from django.db import models


def new_id() -> UUID:
    """A UUID version 7 (RFC 9562): time-ordered, so that indexes grow at one end."""
    return uuid_utils.compat.uuid7()


class Record(models.Model):
    """A row whose key is a UUID that the client may have made, so that sending it twice is safe."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)

    class Meta:
        abstract = True
