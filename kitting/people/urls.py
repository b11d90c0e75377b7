from __future__ import annotations

from django.urls import URLPattern, path

from kitting.people import views

urlpatterns: list[URLPattern] = [
    path("account/", views.account, name="account"),
    path("account/password/", views.account_password, name="account-password"),
    path("account/pin/", views.account_pin, name="account-pin"),
    path("set-up/", views.workshop, name="workshop"),
    path("set-up/people/new/", views.person_new, name="person-new"),
    path("set-up/badges/", views.badges, name="badges"),
    path("set-up/badges/revoke/", views.badge_revoke, name="badge-revoke"),
    *[
        path(f"set-up/people/<int:pk>/{tail}", view, name=f"person-{name}")
        for name, tail, view in (
            ("detail", "", views.person_detail),
            ("role", "role/", views.person_role),
            ("close", "close/", views.person_close),
            ("open", "open/", views.person_open),
            ("sign-out", "sign-out/", views.person_sign_out),
            ("pin", "pin/", views.person_pin),
            ("password", "password/", views.person_password),
        )
    ],
]
