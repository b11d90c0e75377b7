from __future__ import annotations

from django.urls import URLPattern, path

from kitting.views import (
    bag_numbers,
    bench,
    boxes,
    checks,
    day,
    lotfiles,
    lots,
    one_run,
    places,
    runs,
    workshop,
    yields,
)

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
    path("put-away/", places.put_away, name="put-away"),
    path("places/", places.place_list, name="places"),
    path("places/<path:code>/", places.place_detail, name="place-detail"),
    path("carriers/", places.carrier_list, name="carriers"),
    path("carriers/new/", places.carrier_new, name="carrier-new"),
    path("carriers/<str:number>/", places.carrier_detail, name="carrier-detail"),
    path("set-up/", workshop.workshop, name="workshop"),
    path("set-up/yields/", yields.yields, name="yields"),
    path("set-up/yields/drop/", yields.yield_drop, name="yield-drop"),
    path("bench/", bench.benches, name="benches"),
    path("bench/<str:code>/", bench.bench, name="bench"),
    path("bench/<str:code>/scan/", bench.bench_scan, name="bench-scan"),
    path("boxes/", boxes.box_list, name="boxes"),
    path("boxes/<str:number>/", boxes.box_detail, name="box-detail"),
    path("boxes/<str:number>/label/", boxes.box_label, name="box-label"),
    path("boxes/<str:number>/print/", boxes.box_print, name="box-print"),
    path("boxes/<str:number>/void/", boxes.box_void, name="box-void"),
    path("disinfection/", runs.run_list, name="runs"),
    path("disinfection/open/", runs.run_open, name="run-open"),
    path("disinfection/<str:number>/", one_run.run_detail, name="run-detail"),
    path("disinfection/<str:number>/scan/", one_run.run_scan, name="run-scan"),
    path("disinfection/<str:number>/early/", one_run.run_early, name="run-early"),
    path("disinfection/<str:number>/close/", one_run.run_close, name="run-close"),
    path("disinfection/<str:number>/give-up/", one_run.run_give_up, name="run-give-up"),
]
