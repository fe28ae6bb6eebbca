"""A stored file as a download that can be resumed (RFC 9110, range requests): also from a storage without paths."""

from __future__ import annotations

import re
from datetime import datetime

from django.core.files.storage import default_storage
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.utils import timezone
from django.utils.http import http_date, parse_http_date_safe, quote_etag

from commissioning.models import Dossier
from commissioning.stored_files import part_of

ONE_RANGE = re.compile(r"bytes=(\d*)-(\d*)")


def stored_pdf(request: HttpRequest, dossier: Dossier) -> HttpResponseBase:
    """The signed PDF of a dossier that is built."""
    return stored_file(
        request,
        name=str(dossier.pdf.name),
        sha256=dossier.pdf_sha256,
        size=dossier.pdf_bytes,
        as_name=dossier.file_name,
        media_type="application/pdf",
        at=dossier.built_at or timezone.now(),
    )


def stored_content(request: HttpRequest, dossier: Dossier) -> HttpResponseBase:
    """The frozen content of a dossier that is built."""
    name = str(dossier.content.name)
    return stored_file(
        request,
        name=name,
        sha256=dossier.content_sha256,
        size=default_storage.size(name),
        as_name=dossier.file_name.removesuffix(".pdf") + ".json",
        media_type="application/json",
        at=dossier.built_at or timezone.now(),
    )


def stored_file(
    request: HttpRequest, *, name: str, sha256: str, size: int, as_name: str, media_type: str, at: datetime
) -> HttpResponseBase:
    """Answer with the whole file, the part asked for, or nothing new; the hash of the file is its tag."""
    tag = quote_etag(sha256)
    headers = {
        "Accept-Ranges": "bytes",
        "ETag": tag,
        "Last-Modified": http_date(at.timestamp()),
        "Cache-Control": "private, no-cache",
        "Content-Disposition": f'attachment; filename="{as_name}"',
        "X-Content-Type-Options": "nosniff",
    }
    if tag in request.headers.get("If-None-Match", "").replace("W/", "").split(", "):
        return HttpResponse(status=304, headers=headers)
    span = _span(request, tag, at, size)
    if span == ():
        return HttpResponse(status=416, headers={**headers, "Content-Range": f"bytes */{size}"})
    first, last = span or (0, size - 1)
    headers |= {"Content-Length": str(last - first + 1)}
    if span:
        headers["Content-Range"] = f"bytes {first}-{last}/{size}"
    status = 206 if span else 200
    if request.method == "HEAD":
        return HttpResponse(status=status, headers=headers, content_type=media_type)
    try:
        blocks = part_of(name, first, last - first + 1)
    except FileNotFoundError as error:
        raise Http404("The file is not in the storage any more. Tell whoever runs the product.") from error
    return StreamingHttpResponse(blocks, status=status, headers=headers, content_type=media_type)


def _span(request: HttpRequest, tag: str, at: datetime, size: int) -> tuple[int, int] | tuple[()] | None:
    """First and last byte asked for; None: the whole file; empty: nothing that the file has."""
    wanted = ONE_RANGE.fullmatch(request.headers.get("Range", "").replace(" ", ""))
    if not wanted or not any(wanted.groups()) or not _still_the_same(request.headers.get("If-Range", ""), tag, at):
        return None  # several ranges at once are answered with the whole, as the standard allows
    start, end = wanted.groups()
    if not start:
        return (max(0, size - int(end)), size - 1) if int(end) else ()
    first, last = int(start), min(int(end) if end else size - 1, size - 1)
    if first >= size:
        return ()
    return (first, last) if first <= last else None


def _still_the_same(condition: str, tag: str, at: datetime) -> bool:
    """What `If-Range` asks: a part only fits to the rest while the file is the same."""
    if not condition or condition == tag:
        return True
    return parse_http_date_safe(condition) == int(at.timestamp())
