from __future__ import annotations

from django.urls import URLPattern, path

from dispatch.receipts.views import deliveries, links, returns

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
    path("shipments/<str:number>/pass-on/", returns.box_pass, name="box-pass"),
    path("shipments/returns/new/", returns.return_new, name="return-new"),
    path(
        "shipments/returns/<int:pk>/undo/",
        returns.return_undo,
        name="return-undo",
    ),
    path("received/<str:token>/", links.received, name="received"),
]
