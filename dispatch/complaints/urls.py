from __future__ import annotations

from django.urls import URLPattern, path

from dispatch.complaints import views

urlpatterns: list[URLPattern] = [
    path("complaints/", views.complaints, name="complaints"),
    path("complaints/new/", views.complaint_new, name="complaint-new"),
    path("complaints/trend/", views.complaint_trend, name="complaint-trend"),
    path("complaints/<str:number>/", views.complaint_detail, name="complaint-detail"),
    path("complaints/<str:number>/note/", views.complaint_note, name="complaint-note"),
    path(
        "complaints/<str:number>/decide/",
        views.complaint_decide,
        name="complaint-decide",
    ),
    path("complaints/<str:number>/case/", views.complaint_case, name="complaint-case"),
]
