"""Template filters that the shared page components need."""

from django import template

register = template.Library()


@register.filter
def words(value: object) -> str:
    """Turn a stored code into the words a person reads: 'sent_back' becomes 'sent back', 'live' becomes 'LIVE'."""
    text = str(value).replace("_", " ").strip()
    return "LIVE" if text.lower() == "live" else text
