"""Addresses in templates."""

from __future__ import annotations

from django import template

from dispatch.consignees import queries
from dispatch.models import Consignee, Shipment
from kitting.models import Workshop

register = template.Library()


@register.filter
def ship_to(consignee: Consignee, workshop: Workshop) -> tuple[str, ...]:
    """Write a consignee and its address, line by line, as seen from the workshop."""
    return queries.ship_to(consignee, workshop.country).all


@register.simple_tag
def sent_to(shipment: Shipment, workshop: Workshop) -> tuple[str, ...]:
    """Write where a shipment goes, line by line, as seen from the workshop."""
    whom = shipment.consignee
    return queries.ship_to(whom, workshop.country, shipment.point).all
