"""Which site's gates are looked at."""

from __future__ import annotations

from typing import Any

from django import forms

from commissioning.models import Site
from commissioning.selectors.access import Access, sites_for


class SiteChoice(forms.Form):
    """Which site; none means the whole project."""

    site = forms.ModelChoiceField(Site.objects.none(), required=False, empty_label="every site")

    def __init__(self, *args: Any, access: Access, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["site"].queryset = sites_for(access).order_by("code")
