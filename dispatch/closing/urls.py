from __future__ import annotations

from django.urls import URLPattern, path

from dispatch.closing import views

urlpatterns: list[URLPattern] = [
    path("recall/cases/<str:number>/close/", views.case_close, name="case-close"),
    path("recall/cases/<str:number>/reopen/", views.case_reopen, name="case-reopen"),
    path("recall/cases/<str:number>/report/", views.case_report, name="case-report"),
]
