from __future__ import annotations

from django.urls import URLPattern

app_name = "kitting"

urlpatterns: list[URLPattern] = []
