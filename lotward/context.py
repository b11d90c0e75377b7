"""What every page knows without its view."""

from __future__ import annotations

from django.http import HttpRequest
from django.utils.functional import SimpleLazyObject

from kitting.models import Workshop


def workshop(request: HttpRequest) -> dict[str, object]:
    """Give the one row of the workshop; where no middleware did, it is read if asked."""
    read = getattr(request, "workshop", None)
    return {"workshop": read or SimpleLazyObject(Workshop.objects.first)}
