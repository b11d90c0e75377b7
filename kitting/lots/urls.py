from __future__ import annotations

from django.urls import URLPattern, path

from kitting.lots.views import (
    bags,
    blanks,
    cancelling,
    counts,
    files,
    lots,
    repack,
    samples,
    scrap,
    set_back,
    yields,
)

urlpatterns: list[URLPattern] = [
    path("lots/", lots.lot_list, name="lots"),
    path("lots/new/", lots.lot_new, name="lot-new"),
    path("lots/file/", files.lot_file, name="lot-file"),
    path("lots/<path:number>/add-bag/", lots.bag_new, name="bag-new"),
    path("lots/<path:number>/cancel/", cancelling.lot_cancel, name="lot-cancel"),
    path("lots/<path:number>/close/", lots.lot_close, name="lot-close"),
    path("lots/<path:number>/", lots.lot_detail, name="lot-detail"),
    path("bags/<str:number>/", bags.bag_detail, name="bag-detail"),
    path("bags/<str:number>/count/", counts.bag_count, name="bag-count"),
    path("bags/<str:number>/weigh/", counts.bag_weigh, name="bag-weigh"),
    path("bags/<str:number>/sample/", samples.bag_sample, name="bag-sample"),
    path("bags/<str:number>/repack/", repack.bag_repack, name="bag-repack"),
    path("bags/<str:number>/set-back/", set_back.bag_set_back, name="bag-set-back"),
    path("bags/<str:number>/scrap/", scrap.bag_scrap, name="bag-scrap"),
    path("samples/<int:pk>/result/", samples.sample_result, name="sample-result"),
    path("bag-numbers/", blanks.bag_numbers, name="bag-numbers"),
    path(
        "bag-numbers/labels/",
        blanks.bag_number_labels,
        name="bag-number-labels",
    ),
    path("set-up/yields/", yields.yields, name="yields"),
    path("set-up/yields/drop/", yields.yield_drop, name="yield-drop"),
]
