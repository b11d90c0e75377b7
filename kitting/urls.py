from __future__ import annotations

from django.urls import URLPattern, path

from kitting.views import bag_numbers, bench, boxes, checks, day, lotfiles, lots

app_name = "kitting"

urlpatterns: list[URLPattern] = [
    path("", day.day, name="day"),
    path("lots/", lots.lot_list, name="lots"),
    path("lots/new/", lots.lot_new, name="lot-new"),
    path("lots/file/", lotfiles.lot_file, name="lot-file"),
    path("lots/<path:number>/add-bag/", lots.bag_new, name="bag-new"),
    path("lots/<path:number>/check/", checks.lot_check, name="lot-check"),
    path("lots/<path:number>/close/", lots.lot_close, name="lot-close"),
    path("lots/<path:number>/", lots.lot_detail, name="lot-detail"),
    path("bag-numbers/", bag_numbers.bag_numbers, name="bag-numbers"),
    path(
        "bag-numbers/labels/",
        bag_numbers.bag_number_labels,
        name="bag-number-labels",
    ),
    path("bench/", bench.benches, name="benches"),
    path("bench/<str:code>/", bench.bench, name="bench"),
    path("bench/<str:code>/scan/", bench.bench_scan, name="bench-scan"),
    path("boxes/", boxes.box_list, name="boxes"),
    path("boxes/<str:number>/", boxes.box_detail, name="box-detail"),
    path("boxes/<str:number>/label/", boxes.box_label, name="box-label"),
    path("boxes/<str:number>/print/", boxes.box_print, name="box-print"),
    path("boxes/<str:number>/void/", boxes.box_void, name="box-void"),
]
