"""Filters that write a count with its unit, a measure, and a stage as its word alone."""

from __future__ import annotations

from django import template

from kitting.web.figures import amount, counted, thousandth, unit_sign
from kitting.web.shapes import stage_word

register = template.Library()
register.filter(amount)
register.filter(counted)
register.filter(stage_word)
register.filter(thousandth)
register.filter(unit_sign)
