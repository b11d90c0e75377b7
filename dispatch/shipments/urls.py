from __future__ import annotations

from django.urls import URLPattern, path

from dispatch.shipments.views import papers, shipments

urlpatterns: list[URLPattern] = [
    path("shipments/", shipments.shipments, name="shipments"),
    path("shipments/new/", shipments.shipment_new, name="shipment-new"),
    path("shipments/round/", papers.drivers_round, name="shipment-round"),
    path("shipments/<str:number>/", shipments.shipment_detail, name="shipment-detail"),
    path(
        "shipments/<str:number>/packing-list/",
        papers.packing_list,
        name="packing-list",
    ),
    path(
        "shipments/<str:number>/delivery-note/",
        papers.delivery_note,
        name="delivery-note",
    ),
    path(
        "shipments/<str:number>/labels/",
        shipments.shipment_labels,
        name="shipment-labels",
    ),
    path("shipments/<str:number>/held/", shipments.shipment_held, name="shipment-held"),
    path("shipments/<str:number>/scan/", shipments.shipment_scan, name="shipment-scan"),
    path(
        "shipments/<str:number>/take-off/",
        shipments.shipment_take_off,
        name="shipment-take-off",
    ),
    path(
        "shipments/<str:number>/pallet-off/",
        shipments.shipment_pallet_off,
        name="shipment-pallet-off",
    ),
    path("shipments/<str:number>/send/", shipments.shipment_send, name="shipment-send"),
    path(
        "shipments/<str:number>/cancel/",
        shipments.shipment_cancel,
        name="shipment-cancel",
    ),
]
