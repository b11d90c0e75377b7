from __future__ import annotations

from django.urls import URLPattern, path

from kitting.places import views

urlpatterns: list[URLPattern] = [
    path("put-away/", views.put_away, name="put-away"),
    path("places/", views.place_list, name="places"),
    path("places/new/", views.place_new, name="place-new"),
    path("places/<path:code>/change/", views.place_change, name="place-change"),
    path("places/<path:code>/", views.place_detail, name="place-detail"),
    path("carriers/", views.carrier_list, name="carriers"),
    path("carriers/new/", views.carrier_new, name="carrier-new"),
    path("carriers/<str:number>/", views.carrier_detail, name="carrier-detail"),
]
