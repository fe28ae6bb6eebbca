"""Bodies as they come in: bounded, and times only with their zone."""

from __future__ import annotations

import io
from collections.abc import Mapping
from datetime import datetime
from typing import IO, Any
from uuid import UUID

from rest_framework import serializers
from rest_framework.exceptions import APIException, ParseError
from rest_framework.parsers import JSONParser

from commissioning.errors import InvalidInput
from commissioning.models import Instrument
from commissioning.selectors.access import Access

#: The largest JSON body: far above any reading, far below what would fill the memory.
LARGEST_BODY = 1024 * 1024
#: The longest text of a remark, a reason or an explanation.
TEXT_LIMIT = 4000


class TooLarge(APIException):
    """The body is larger than anything this API takes (HTTP 413)."""

    status_code = 413
    default_code = "too_large"
    default_detail = "The body is larger than 1 MB. Send less at once."


class BoundedJSONParser(JSONParser):
    """JSON up to LARGEST_BODY, whatever the client says about its length."""

    def parse(self, stream: IO[Any], media_type: str | None = None, parser_context: Any = None) -> Any:
        raw = stream.read(LARGEST_BODY + 1)
        if len(raw) > LARGEST_BODY:
            raise TooLarge
        try:
            return super().parse(io.BytesIO(raw), media_type=media_type, parser_context=parser_context)
        except (RecursionError, UnicodeDecodeError) as error:
            raise ParseError("This is not JSON in UTF-8.") from error


class Moment(serializers.DateTimeField):
    """A time in ISO 8601 with its zone: `2031-05-04T10:15:00Z`. Without a zone it could be any of several hours."""

    default_error_messages = {"no_zone": "Give the time with its zone, such as 2031-05-04T10:15:00Z or +01:00."}

    def enforce_timezone(self, value: datetime) -> datetime:
        if value.tzinfo is None:
            self.fail("no_zone")
        return super().enforce_timezone(value)


class Words(serializers.CharField):
    """Text that may be left out, of a bounded length."""

    def __init__(self, **more: Any) -> None:
        super().__init__(**{"required": False, "allow_blank": True, "max_length": TEXT_LIMIT, **more})


class NewId(serializers.UUIDField):
    """The record's key, made by the client: sent twice, there is one record. Left out, the server makes one."""

    def __init__(self, **more: Any) -> None:
        super().__init__(
            **{"required": False, "help_text": "Made by the client, so that sending again is safe.", **more}
        )


class TypedText(serializers.CharField):
    """An input as it was typed; a bare JSON number is taken as the text that it is."""

    def __init__(self, **more: Any) -> None:
        super().__init__(**{"allow_blank": True, "max_length": TEXT_LIMIT, **more})


def refuse_unknown(given: Any, known: Any, *, what: str = "field") -> None:
    """A name that nobody knows is a typing slip; passed over in silence it would lose what was meant."""
    if not isinstance(given, Mapping):
        return
    if unknown := sorted(str(name) for name in set(given) - set(known)):
        names = ", ".join(sorted(known)) or "none"
        raise InvalidInput({name: f"There is no {what} of this name. There are: {names}." for name in unknown})


def instruments_in(access: Access, given: Mapping[str, UUID], *, inputs: Any) -> dict[str, Instrument]:
    """Instruments by the input that they measured; `""` stands for every input that is not named."""
    refuse_unknown(given, {"", *inputs}, what="input")
    rows = Instrument.objects.filter(project=access.project, pk__in=set(given.values()))
    known = {row.pk: row for row in rows.select_related("project").prefetch_related("ranges", "calibrations")}
    if missing := [name for name, key in given.items() if key not in known]:
        raise InvalidInput({name or "instruments": "There is no such instrument in this project." for name in missing})
    return {name: known[key] for name, key in given.items()}
