from __future__ import annotations

from django.urls import URLPattern, path

from dispatch.drills import views

urlpatterns: list[URLPattern] = [
    path("recall/drills/", views.drills, name="drills"),
    path("recall/drills/new/", views.drill_new, name="drill-new"),
    path("recall/drills/<int:pk>/", views.drill_detail, name="drill-detail"),
    path("recall/drills/<int:pk>/list/", views.drill_list, name="drill-list"),
    path("recall/drills/<int:pk>/end/", views.drill_end, name="drill-end"),
    path(
        "recall/drills/<int:pk>/calls/<str:code>/", views.drill_call, name="drill-call"
    ),
]
