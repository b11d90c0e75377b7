from __future__ import annotations

from django.urls import URLPattern, path

from dispatch.allotment import views

urlpatterns: list[URLPattern] = [
    path("allotments/", views.allotments, name="allotments"),
    path("allotments/new/", views.allotment_new, name="allotment-new"),
    path("allotments/<str:number>/", views.allotment_detail, name="allotment-detail"),
    path(
        "allotments/<str:number>/release/",
        views.allotment_release,
        name="allotment-release",
    ),
]
