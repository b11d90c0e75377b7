from __future__ import annotations

from django.urls import URLPattern, path

from dispatch.receipts.views import deliveries

urlpatterns: list[URLPattern] = [
    path(
        "shipments/<str:number>/delivery/",
        deliveries.delivery_record,
        name="delivery-record",
    ),
    path(
        "shipments/<str:number>/delivery/correct/",
        deliveries.delivery_correct,
        name="delivery-correct",
    ),
    path(
        "shipments/<str:number>/delivery/settle/",
        deliveries.delivery_settle,
        name="delivery-settle",
    ),
]
