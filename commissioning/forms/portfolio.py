"""What the portfolio can be narrowed to."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from django import forms

from commissioning.models import Site, StageKind, SystemKind
from commissioning.selectors.portfolio import Wanted

SHOW = [
    ("", "every system"),
    ("move", "could move today"),
    ("mine", "my turn"),
    ("held", "held by more than open lines"),
    ("waits", "waits for another stage"),
    ("live", "LIVE"),
    ("exceptions", "exceptions to what was accepted"),
    ("accepted", "all accepted"),
]
#: With more sites than this, a site is typed and not chosen from a list.
LISTED = 30


class PortfolioFilter(forms.Form):
    """The filter bar; what cannot be read is left out rather than refused."""

    q = forms.CharField(required=False, label="search", widget=forms.TextInput(attrs={"type": "search"}))
    site = forms.CharField(required=False, widget=forms.TextInput(attrs={"type": "search", "size": 12}))
    kind = forms.ChoiceField(required=False, choices=[("", "every kind"), *SystemKind.choices])
    stage = forms.ChoiceField(required=False, label="stage in hand", choices=[("", "every stage"), *StageKind.choices])
    show = forms.ChoiceField(required=False, choices=SHOW)

    def __init__(self, data: Any, *, sites: Sequence[Site]) -> None:
        """`sites` are the first LISTED + 1 of them."""
        super().__init__(data, auto_id="filter_%s")
        if len(sites) <= LISTED:
            choices = [("", "every site"), *((str(site.pk), str(site)) for site in sites)]
            self.fields["site"] = forms.ChoiceField(required=False, choices=choices)

    def wanted(self) -> Wanted:
        self.is_valid()
        given = self.cleaned_data
        sort = str(self.data.get("sort", ""))
        return Wanted(
            site=_site(given.get("site") or ""),
            kind=given.get("kind") or "",
            stage=given.get("stage") or "",
            show=given.get("show") or "",
            text=given.get("q") or "",
            list=str(self.data.get("list", "")),
            sort=sort.removeprefix("-") or "site",
            backwards=sort.startswith("-"),
            after=str(self.data.get("after", "")),
        )


def _site(given: str) -> UUID | str | None:
    """A site's key, or words of its code or name."""
    try:
        return UUID(given)
    except ValueError:
        return given.strip() or None
