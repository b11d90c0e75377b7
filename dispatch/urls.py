"""The addresses of every room that has pages."""

from __future__ import annotations

from django.urls import URLPattern

from dispatch.rooms import ROOMS
from kitting.rooms import urls_of

app_name = "dispatch"
urlpatterns: list[URLPattern] = urls_of("dispatch", ROOMS)
