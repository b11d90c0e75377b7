from __future__ import annotations

from django.urls import URLPattern, path

from dispatch.recall.views import bringing, cases, recall

urlpatterns: list[URLPattern] = [
    path("recall/", recall.recall, name="recall"),
    path("recall/calls/", recall.calls, name="recall-calls"),
    path("recall/reach/", recall.reach, name="recall-reach"),
    path("recall/hold/", recall.hold, name="hold"),
    path("recall/holds/<int:hold_id>/lift/", recall.lift, name="lift"),
    path("recall/cases/new/", cases.case_new, name="case-new"),
    path("recall/cases/<str:number>/", cases.case_detail, name="case-detail"),
    path("recall/cases/<str:number>/widen/", cases.case_widen, name="case-widen"),
    path("recall/cases/<str:number>/bring/", bringing.case_bring, name="case-bring"),
    path(
        "recall/cases/<str:number>/not-found/<str:thing>/",
        bringing.case_not_found,
        name="case-not-found",
    ),
    path("recall/cases/<str:number>/look/", cases.case_look, name="case-look"),
]
