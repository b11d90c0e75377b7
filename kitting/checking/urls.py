from __future__ import annotations

from django.urls import URLPattern, path

from kitting.checking.views import (
    again,
    checks,
    inspection,
    rejected,
    settings,
    switching,
)

urlpatterns: list[URLPattern] = [
    path("lots/<path:number>/check/", checks.lot_check, name="lot-check"),
    path("lots/<path:number>/reject/", checks.lot_reject, name="lot-reject"),
    path("lots/<path:number>/rejected/", rejected.lot_rejected, name="lot-rejected"),
    path("lots/<path:number>/send-back/", rejected.lot_send_back, name="lot-send-back"),
    path("lots/<path:number>/scrap/", rejected.lot_scrap, name="lot-scrap"),
    path(
        "lots/<path:number>/concession/", rejected.lot_concession, name="lot-concession"
    ),
    path("lots/<path:number>/sort/<str:bag>/", rejected.bag_sort, name="bag-sort"),
    path("bags/<str:number>/accept/", again.bag_accept, name="bag-accept"),
    path("inspection/", inspection.inspection, name="inspection"),
    path("inspection/curve/", inspection.curve, name="inspection-curve"),
    path("inspection/reduce/", switching.reduce, name="inspection-reduce"),
    path("inspection/restore/", switching.restore, name="inspection-restore"),
    path("inspection/resume/", switching.resume, name="inspection-resume"),
    path("inspection/set/", settings.inspection_set, name="inspection-set"),
    path("inspection/set/part/<str:code>/", settings.part_set, name="part-set"),
    path("inspection/set/defect/", settings.kind_new, name="kind-new"),
    path(
        "inspection/set/defect/<str:code>/",
        settings.kind_change,
        name="kind-change",
    ),
]
