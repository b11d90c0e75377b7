"""Fields that name a consignee, and one of its delivery points and wards."""

from __future__ import annotations

from typing import Any

from django import forms
from django.urls import reverse_lazy
from django.utils.translation import gettext_lazy as _

from dispatch.consignees.queries import POINT_LONGEST, in_use


class ConsigneeField(forms.ModelChoiceField):  # type: ignore[type-arg]
    """A consignee in use; once it is chosen, ``PointField`` offers its points."""

    def __init__(self, **options: Any) -> None:
        widget = forms.Select(
            attrs={
                "hx-get": reverse_lazy("dispatch:consignee-points"),
                "hx-trigger": "change",
                "hx-target": "#points",
                "hx-swap": "innerHTML",
            }
        )
        options = {
            "label": _("Consignee"),
            "to_field_name": "code",
            "empty_label": _("Choose one"),
            "widget": widget,
            **options,
        }
        super().__init__(in_use(), **options)


class PointField(forms.CharField):
    """A delivery point or ward: typed, or chosen of those that the page offers."""

    def __init__(self, **options: Any) -> None:
        options = {
            "label": _("Delivery point or ward"),
            "required": False,
            "max_length": POINT_LONGEST,
            "widget": forms.TextInput(attrs={"list": "points", "autocomplete": "off"}),
            **options,
        }
        super().__init__(**options)
