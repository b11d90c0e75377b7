"""The addresses of Lotward; what is not listed in ``PUBLIC`` asks for a permission."""

from __future__ import annotations

from django.urls import include, path

from lotward import first_hour, signing, views

PUBLIC = frozenset(
    {
        "favicon",
        "health",
        "kitting:scale",
        "kitting:tablet",
        "dispatch:received",
        "dispatch:recalled",
    }
    | {"sign-in", "sign-on", "sign-out"}
)
"""Names of the addresses that anybody may ask for."""

handler500 = "lotward.failed.failed"

urlpatterns = [
    path("sign-in/", views.sign_in, name="sign-in"),
    path("sign-out/", views.sign_out, name="sign-out"),
    path("bench/sign-on/", signing.sign_on, name="sign-on"),
    path("home/", views.home, name="home"),
    path("set-up/first-hour/", first_hour.first_hour, name="first-hour"),
    path("health/", views.health, name="health"),
    path("favicon.ico", views.favicon, name="favicon"),
    path("", include("kitting.urls")),
    path("", include("dispatch.urls")),
]
