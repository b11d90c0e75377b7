"""Addresses in templates."""

from __future__ import annotations

from django import template

from dispatch.consignees import queries
from dispatch.models import Consignee
from kitting.models import Workshop

register = template.Library()


@register.filter
def ship_to(consignee: Consignee, workshop: Workshop) -> tuple[str, ...]:
    """Write a consignee and its address, line by line, as seen from the workshop."""
    return queries.ship_to(consignee, workshop.country).all
