from __future__ import annotations

from django.urls import URLPattern, path

from dispatch.consignees import views

urlpatterns: list[URLPattern] = [
    path("consignees/", views.consignee_list, name="consignees"),
    path("consignees/file/", views.consignee_file, name="consignee-file"),
    path(
        "consignees/<str:code>/merge/",
        views.consignee_merge,
        name="consignee-merge",
    ),
    path("consignees/new/", views.consignee_new, name="consignee-new"),
    path("consignees/points/", views.consignee_points, name="consignee-points"),
    path(
        "consignees/<path:code>/change/",
        views.consignee_change,
        name="consignee-change",
    ),
    path("consignees/<path:code>/", views.consignee_detail, name="consignee-detail"),
]
