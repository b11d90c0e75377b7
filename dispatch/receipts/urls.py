from __future__ import annotations

from django.urls import URLPattern, path

from dispatch.receipts.views import deliveries, links

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
    path(
        "shipments/<str:number>/link/",
        links.delivery_link,
        name="delivery-link",
    ),
    path(
        "shipments/<str:number>/link/end/",
        links.delivery_unlink,
        name="delivery-unlink",
    ),
    path("received/<str:token>/", links.received, name="received"),
]
