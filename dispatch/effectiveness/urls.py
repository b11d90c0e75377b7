from __future__ import annotations

from django.urls import URLPattern, path

from dispatch.effectiveness import views

urlpatterns: list[URLPattern] = [
    path(
        "recall/cases/<str:number>/effectiveness/",
        views.effect_new,
        name="effect-new",
    ),
    path(
        "recall/effectiveness/<int:pk>/",
        views.effect_answer,
        name="effect-answer",
    ),
]
