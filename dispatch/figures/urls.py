from __future__ import annotations

from django.urls import URLPattern, path

from dispatch.figures import views

urlpatterns: list[URLPattern] = [
    path("figures/", views.figures, name="figures"),
]
