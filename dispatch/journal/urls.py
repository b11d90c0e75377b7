from __future__ import annotations

from django.urls import URLPattern, path

from dispatch.journal import views

urlpatterns: list[URLPattern] = [
    path("journal/", views.journal, name="journal"),
    path("journal/export/", views.journal_export, name="journal-export"),
    path("journal/<int:seq>/", views.journal_act, name="journal-act"),
]
