"""The time zone of a site; a mistyped one must not stop anything."""

from __future__ import annotations

from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from commissioning.models import Site


def zone_of(site: Site) -> ZoneInfo:
    """The site's zone, else its project's, else UTC."""
    for name in (site.time_zone, site.project.time_zone):
        try:
            if name:
                return ZoneInfo(name)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            continue
    return ZoneInfo("UTC")
