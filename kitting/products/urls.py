from __future__ import annotations

from django.urls import URLPattern, path

from kitting.products.views import methods

urlpatterns: list[URLPattern] = [
    path("methods/", methods.method_list, name="methods"),
    path("methods/new/", methods.method_new, name="method-new"),
    path("methods/<path:code>/change/", methods.method_change, name="method-change"),
    path("methods/<path:code>/release/", methods.method_release, name="method-release"),
    path("methods/<path:code>/", methods.method_detail, name="method-detail"),
]
