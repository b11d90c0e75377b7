from __future__ import annotations

from django.urls import URLPattern, path

from kitting.people.views import badges, workshop

urlpatterns: list[URLPattern] = [
    path("set-up/", workshop.workshop, name="workshop"),
    path("set-up/badges/", badges.badges, name="badges"),
    path("set-up/badges/revoke/", badges.badge_revoke, name="badge-revoke"),
]
