from __future__ import annotations

from django.urls import URLPattern, path

from dispatch.requests import views

urlpatterns: list[URLPattern] = [
    path("requests/", views.requests, name="requests"),
    path("requests/new/", views.request_new, name="request-new"),
    path("requests/file/", views.request_file, name="request-file"),
    path("requests/mix/", views.request_mix, name="request-mix"),
    path("requests/<str:number>/", views.request_detail, name="request-detail"),
    path("requests/<str:number>/change/", views.request_change, name="request-change"),
    path("requests/<str:number>/cancel/", views.request_cancel, name="request-cancel"),
]
