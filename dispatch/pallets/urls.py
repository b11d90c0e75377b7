from __future__ import annotations

from django.urls import URLPattern, path

from dispatch.pallets import views

urlpatterns: list[URLPattern] = [
    path("pallets/", views.pallets, name="pallets"),
    path("pallets/new/", views.pallet_new, name="pallet-new"),
    path("pallets/<str:number>/", views.pallet_detail, name="pallet-detail"),
    path("pallets/<str:number>/scan/", views.pallet_scan, name="pallet-scan"),
    path(
        "pallets/<str:number>/take-off/", views.pallet_take_off, name="pallet-take-off"
    ),
    path("pallets/<str:number>/label/", views.pallet_label, name="pallet-label"),
    path(
        "pallets/<str:number>/break-up/", views.pallet_break_up, name="pallet-break-up"
    ),
]
