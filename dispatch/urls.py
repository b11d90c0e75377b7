from __future__ import annotations

from django.urls import URLPattern, path

from dispatch.views import recall

app_name = "dispatch"

urlpatterns: list[URLPattern] = [
    path("recall/", recall.recall, name="recall"),
    path("recall/hold/", recall.hold, name="hold"),
    path("recall/holds/<int:hold_id>/lift/", recall.lift, name="lift"),
]
