from __future__ import annotations

from django.urls import URLPattern, path

from kitting.packing import views

urlpatterns: list[URLPattern] = [
    path("bench/", views.benches, name="benches"),
    path("bench/new/", views.bench_new, name="bench-new"),
    path("bench/<str:code>/", views.bench, name="bench"),
    path("bench/<str:code>/change/", views.bench_change, name="bench-change"),
    path("bench/<str:code>/label/", views.bench_label, name="bench-label"),
    path("bench/<str:code>/scan/", views.bench_scan, name="bench-scan"),
    path("boxes/", views.box_list, name="boxes"),
    path("boxes/<str:number>/", views.box_detail, name="box-detail"),
    path("boxes/<str:number>/label/", views.box_label, name="box-label"),
    path("boxes/<str:number>/print/", views.box_print, name="box-print"),
    path("boxes/<str:number>/void/", views.box_void, name="box-void"),
]
