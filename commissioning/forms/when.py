"""Which gates' dates are looked at, and in what order."""

from __future__ import annotations

from django import forms

from commissioning.forms.holding import SiteChoice

SORTS = (
    ("date", "date"),
    ("slip", "slip, the longest first"),
    ("plan", "planned date"),
    ("system", "site and system"),
)


class WhenFilter(SiteChoice):
    """Which site, and sorted by what."""

    sort = forms.ChoiceField(choices=SORTS, required=False)
    handover = forms.BooleanField(required=False)
