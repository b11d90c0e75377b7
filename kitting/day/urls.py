from __future__ import annotations

from django.urls import URLPattern, path

from kitting.day import views

urlpatterns: list[URLPattern] = [
    path("", views.day, name="day"),
    path("find/", views.find, name="find"),
    path("set-up/clock/", views.clock_page, name="clock"),
]
