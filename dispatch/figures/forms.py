"""The product and the days that figures are of, as they stand in an address."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any, Final

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from dispatch.figures.queries import Period
from dispatch.log.forms import PeriodForm
from kitting.models import Product

USUAL_DAYS: Final = 14
MOST_DAYS: Final = 100
"""More days have no room beside each other."""


class FiguresForm(PeriodForm):
    """A product, and days; what is left out is the first product, and the last days.

    Args:
        data: What stands in the address.
        *args: As for any form.
        today: The workshop's day.
        products: Those there are.
        **kwargs: As for any form.
    """

    things = {"product": _("the product")}

    product = forms.ChoiceField(label=_("of"))

    def __init__(
        self,
        data: Mapping[str, Any] | None = None,
        *args: Any,
        today: date,
        products: Sequence[Product],
        **kwargs: Any,
    ) -> None:
        self.asked = asked = dict((data or {}).items())
        self.products = {product.code: product for product in products}
        if not asked.get("product"):
            asked["product"] = next(iter(self.products), "")
        if not str(asked.get("to", "")).strip():
            asked["to"] = str(today)
        super().__init__(asked, *args, **kwargs)
        self.offer("product", [(each.code, each.name) for each in products])
        self.order_fields(["product", "from", "to"])

    def clean(self) -> dict[str, Any]:
        """Fill in the first day, and refuse more days than a picture has room for."""
        data = super().clean()
        first, last = data.get("from"), data.get("to")
        if last and not first and "from" not in self.errors:
            data["from"] = first = last - timedelta(days=USUAL_DAYS - 1)
            self.asked["from"] = str(first)  # shown in its field
        if first and last and (last - first).days >= MOST_DAYS:
            words = _("A picture has room for %(most)s days. Choose fewer.")
            raise ValidationError(
                words, code="too_many_days", params={"most": MOST_DAYS}
            )
        return data

    @property
    def period(self) -> Period:
        """What a valid form asks for."""
        data = self.cleaned_data
        product = self.products[data["product"]]
        return Period(product.pk, data["from"], data["to"])
