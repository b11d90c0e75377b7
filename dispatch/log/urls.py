from __future__ import annotations

from django.urls import URLPattern, path

from dispatch.log import views

urlpatterns: list[URLPattern] = [
    path("log/", views.log, name="log"),
]
