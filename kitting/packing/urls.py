from __future__ import annotations

from django.urls import URLPattern, path

from kitting.packing.views import (
    bench,
    benches,
    boxes,
    plan,
    practice,
    scales,
    scanner,
    tablets,
)

urlpatterns: list[URLPattern] = [
    path("bench/", bench.benches, name="benches"),
    path("bench/new/", benches.bench_new, name="bench-new"),
    path("bench/offline/", bench.bench_offline, name="bench-offline"),
    path("bench/worker.js", bench.bench_worker, name="bench-worker"),
    path("bench/practice/", practice.practice, name="practice"),
    path("bench/scanner/", scanner.scanner, name="scanner"),
    path("bench/plan/", plan.pack_plan, name="pack-plan"),
    path("bench/tablet/", tablets.tablet, name="tablet"),
    path("bench/<str:code>/", bench.bench, name="bench"),
    path("bench/<str:code>/change/", benches.bench_change, name="bench-change"),
    path("bench/<str:code>/holds/", bench.bench_holds, name="bench-holds"),
    path("bench/<str:code>/label/", bench.bench_label, name="bench-label"),
    path("bench/<str:code>/scale/", scales.scale, name="scale"),
    path("bench/<str:code>/scale/end/", scales.scale_end, name="scale-end"),
    path("bench/<str:code>/scale/token/", scales.scale_token, name="scale-token"),
    path("bench/<str:code>/scan/", bench.bench_scan, name="bench-scan"),
    path("bench/<str:code>/tie/", tablets.bench_tie, name="bench-tie"),
    path("bench/<str:code>/untie/", tablets.bench_untie, name="bench-untie"),
    path("boxes/", boxes.box_list, name="boxes"),
    path("boxes/<str:number>/", boxes.box_detail, name="box-detail"),
    path("boxes/<str:number>/label/", boxes.box_label, name="box-label"),
    path("boxes/<str:number>/mass/", boxes.box_mass, name="box-mass"),
    path("boxes/<str:number>/print/", boxes.box_print, name="box-print"),
    path("boxes/<str:number>/void/", boxes.box_void, name="box-void"),
]
