"""What every page knows without its view."""

from __future__ import annotations

from django.http import HttpRequest
from django.utils.functional import SimpleLazyObject

from kitting.models import Workshop


def workshop(request: HttpRequest) -> dict[str, object]:
    """Give the one row of the workshop; it is read when a template asks for it."""
    return {"workshop": SimpleLazyObject(Workshop.objects.first)}
