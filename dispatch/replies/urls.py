from __future__ import annotations

from django.urls import URLPattern, path

from dispatch.replies.views import links, replies

urlpatterns: list[URLPattern] = [
    path(
        "recall/cases/<str:number>/answers/due/",
        replies.case_term,
        name="case-term",
    ),
    path(
        "recall/cases/<str:number>/answers/<str:code>/",
        replies.case_reply,
        name="case-reply",
    ),
    path(
        "recall/cases/<str:number>/answers/<str:code>/link/",
        links.case_link,
        name="case-link",
    ),
    path("recalled/<str:token>/", links.recalled, name="recalled"),
]
