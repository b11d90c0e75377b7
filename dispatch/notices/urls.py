from __future__ import annotations

from django.urls import URLPattern, path

from dispatch.notices.views import calls, letters, replacements

CASE = "recall/cases/<str:number>/"

urlpatterns: list[URLPattern] = [
    path(f"{CASE}calls/", calls.case_calls, name="case-calls"),
    path(f"{CASE}call-sheet/", calls.case_call_sheet, name="case-call-sheet"),
    path(f"{CASE}calls/<str:code>/", calls.case_call, name="case-call"),
    path("recall/calls/<int:pk>/undo/", calls.call_undo, name="call-undo"),
    path(f"{CASE}letters/", letters.case_letters, name="case-letters"),
    path(f"{CASE}letters/new/", letters.case_write, name="case-write"),
    path(f"{CASE}letters/send/", letters.case_send, name="case-send"),
    path(f"{CASE}replace/<str:code>/", replacements.case_replace, name="case-replace"),
    path("recall/letters/<int:pk>/", letters.letter, name="letter"),
    path("recall/sent/<int:pk>/back/", letters.letter_back, name="letter-back"),
]
