from __future__ import annotations

from django.urls import URLPattern, path

from kitting.products.views import methods, parts, products

urlpatterns: list[URLPattern] = [
    path("products/", products.product_list, name="products"),
    path("products/new/", products.product_new, name="product-new"),
    path("products/<str:code>/", products.product_detail, name="product-detail"),
    path("products/<str:code>/change/", products.product_change, name="product-change"),
    path("products/<str:code>/size/", products.size_new, name="size-new"),
    path(
        "products/<str:code>/size/<int:sets>/",
        products.size_change,
        name="size-change",
    ),
    path("products/<str:code>/recipe/", products.recipe_new, name="recipe-new"),
    path("products/<str:code>/recipe/<int:version>/", products.recipe, name="recipe"),
    path("parts/", parts.part_list, name="parts"),
    path("parts/new/", parts.part_new, name="part-new"),
    path("parts/<str:code>/", parts.part_detail, name="part-detail"),
    path("parts/<str:code>/change/", parts.part_change, name="part-change"),
    path("parts/<str:code>/revision/", parts.revision_new, name="revision-new"),
    path(
        "parts/<str:code>/<str:revision>/",
        parts.revision_detail,
        name="revision-detail",
    ),
    path(
        "parts/<str:code>/<str:revision>/change/",
        parts.revision_change,
        name="revision-change",
    ),
    path("methods/", methods.method_list, name="methods"),
    path("methods/new/", methods.method_new, name="method-new"),
    path("methods/<path:code>/change/", methods.method_change, name="method-change"),
    path("methods/<path:code>/release/", methods.method_release, name="method-release"),
    path("methods/<path:code>/", methods.method_detail, name="method-detail"),
]
