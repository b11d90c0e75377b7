from __future__ import annotations

from django.urls import URLPattern, path

from dispatch.notices.views import calls

urlpatterns: list[URLPattern] = [
    path("recall/cases/<str:number>/calls/", calls.case_calls, name="case-calls"),
    path(
        "recall/cases/<str:number>/calls/<str:code>/", calls.case_call, name="case-call"
    ),
    path("recall/calls/<int:pk>/undo/", calls.call_undo, name="call-undo"),
]
