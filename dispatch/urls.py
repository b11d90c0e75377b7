from __future__ import annotations

from django.urls import URLPattern, path

from dispatch.views import labels, log, packing_list, recall, shipments

app_name = "dispatch"

urlpatterns: list[URLPattern] = [
    path("log/", log.log, name="log"),
    path("recall/", recall.recall, name="recall"),
    path("recall/hold/", recall.hold, name="hold"),
    path("recall/holds/<int:hold_id>/lift/", recall.lift, name="lift"),
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
        "shipments/<str:number>/call-off/",
        shipments.shipment_call_off,
        name="shipment-call-off",
    ),
]
