"""Template tags of the journal."""

from __future__ import annotations

from django import template
from django.template import Context

from dispatch.journal.queries.things import Named
from kitting.web.http import open_to

register = template.Library()


@register.simple_tag(takes_context=True)
def thing_page(context: Context, thing: Named) -> str:
    """Give the address of a thing's page, or nothing if this person has none."""
    return open_to(context.get("user"), thing.kind.page, *thing.at)
