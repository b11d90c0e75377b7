from __future__ import annotations

from django.urls import URLPattern, path

from dispatch.log import views

urlpatterns: list[URLPattern] = [
    path("log/", views.log, name="log"),
    path("log/keep/", views.log_keep, name="log-keep"),
    path("log/drop/<int:view_id>/", views.log_drop, name="log-drop"),
]
