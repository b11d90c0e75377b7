"""The addresses of every room that has pages."""

from __future__ import annotations

from django.urls import URLPattern

from kitting.rooms import ROOMS, urls_of

app_name = "kitting"
urlpatterns: list[URLPattern] = urls_of("kitting", ROOMS)
