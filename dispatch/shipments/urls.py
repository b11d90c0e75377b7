from __future__ import annotations

from django.urls import URLPattern, path

from dispatch.shipments.views import labels, packing_list, shipments

urlpatterns: list[URLPattern] = [
    path("shipments/", shipments.shipments, name="shipments"),
    path("shipments/new/", shipments.shipment_new, name="shipment-new"),
    path("shipments/<str:number>/", shipments.shipment_detail, name="shipment-detail"),
    path(
        "shipments/<str:number>/packing-list/",
        packing_list.packing_list,
        name="packing-list",
    ),
    path(
        "shipments/<str:number>/labels/",
        labels.shipment_labels,
        name="shipment-labels",
    ),
    path("shipments/<str:number>/scan/", shipments.shipment_scan, name="shipment-scan"),
    path(
        "shipments/<str:number>/take-off/",
        shipments.shipment_take_off,
        name="shipment-take-off",
    ),
    path("shipments/<str:number>/send/", shipments.shipment_send, name="shipment-send"),
    path(
        "shipments/<str:number>/cancel/",
        shipments.shipment_cancel,
        name="shipment-cancel",
    ),
]
