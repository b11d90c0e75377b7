from __future__ import annotations

from django.urls import URLPattern, path

from dispatch.recall import views

urlpatterns: list[URLPattern] = [
    path("recall/", views.recall, name="recall"),
    path("recall/calls/", views.calls, name="recall-calls"),
    path("recall/reach/", views.reach, name="recall-reach"),
    path("recall/hold/", views.hold, name="hold"),
    path("recall/holds/<int:hold_id>/lift/", views.lift, name="lift"),
]
