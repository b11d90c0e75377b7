"""A scale that sends, and the time that passes between its readings."""

from __future__ import annotations

from datetime import timedelta

from django.test import Client
from django.urls import reverse

from kitting.models import Bench, Scale
from tests import factories


class Clock:
    def __init__(self) -> None:
        self.now = factories.NOW + timedelta(minutes=15)

    def on(self, seconds: float) -> None:
        self.now += timedelta(seconds=seconds)


def door(bench: Bench) -> str:
    return reverse("kitting:scale", args=[bench.code])


class Sender:
    """A scale of a bench, in a browser of its own that keeps no cookie."""

    def __init__(self, at, token: str, clock: Clock) -> None:
        self.at, self.token, self.clock = at, token, clock
        self.client = Client(enforce_csrf_checks=True)

    def __call__(self, g: object, *, stable: bool = True, after: float = 1.0):
        self.clock.on(after)
        return self.client.post(
            door(self.at.bench),
            {"g": str(g), "stable": "true" if stable else "false"},
            headers={"Authorization": f"Bearer {self.token}"},
        )


def showing() -> tuple[int | None, bool]:
    row = Scale.objects.get()
    return row.mass_mg, row.loaded_at is not None
