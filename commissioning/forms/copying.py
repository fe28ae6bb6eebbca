"""What the copy of a system or of a site is to be called."""

from __future__ import annotations

from typing import Any

from django import forms

from commissioning.forms.base import RepeatSafeForm
from commissioning.forms.register import TAG
from commissioning.models import Site, System
from commissioning.selectors.access import Access, sites_for


class SystemCopyForm(RepeatSafeForm):
    """Where the copy stands and what it is called."""

    tag = forms.CharField(
        label="Tag of the new system",
        max_length=60,
        widget=TAG,
        help_text="It takes the place of the old tag in the tags of the equipment too.",
        error_messages={"required": "Type the new tag."},
    )
    name = forms.CharField(label="Name", max_length=200, required=False, help_text="Empty: as the old one.")

    def __init__(self, *args: Any, access: Access, system: System, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["site"] = forms.ModelChoiceField(
            sites_for(access), initial=system.site_id, empty_label=None, label="Site"
        )
        self.order_fields(["site", "tag", "name"])


class SiteCopyForm(RepeatSafeForm):
    """Code and name of the new site."""

    code = forms.CharField(
        label="Code of the new site",
        max_length=20,
        widget=TAG,
        help_text="It takes the place of the old code in the tags of systems and equipment too.",
        error_messages={"required": "Type a short code."},
    )
    name = forms.CharField(label="Name", max_length=200, error_messages={"required": "Type the name."})

    def __init__(self, *args: Any, access: Access, site: Site, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
