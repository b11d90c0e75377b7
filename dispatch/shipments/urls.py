from __future__ import annotations

from django.urls import URLPattern, path

from dispatch.shipments import views

urlpatterns: list[URLPattern] = [
    path("shipments/", views.shipments, name="shipments"),
    path("shipments/new/", views.shipment_new, name="shipment-new"),
    path("shipments/<str:number>/", views.shipment_detail, name="shipment-detail"),
    path(
        "shipments/<str:number>/packing-list/",
        views.packing_list,
        name="packing-list",
    ),
    path(
        "shipments/<str:number>/labels/",
        views.shipment_labels,
        name="shipment-labels",
    ),
    path("shipments/<str:number>/scan/", views.shipment_scan, name="shipment-scan"),
    path(
        "shipments/<str:number>/take-off/",
        views.shipment_take_off,
        name="shipment-take-off",
    ),
    path("shipments/<str:number>/send/", views.shipment_send, name="shipment-send"),
    path(
        "shipments/<str:number>/cancel/",
        views.shipment_cancel,
        name="shipment-cancel",
    ),
]
