"""Filters for labels and print jobs: what they are called, where their page is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from django import template
from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext_lazy

from kitting.domain import numbers
from kitting.domain.errors import LotwardError
from kitting.domain.prints import TEST
from kitting.domain.stages import PRINT_OVER, PrintState
from lotward.messages import sentence

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

    from kitting.models import Print, PrintJob

register = template.Library()

KINDS: Final[dict[str, tuple[_StrPromise, _StrPromise]]] = {
    "box": (gettext_lazy("box label"), gettext_lazy("box labels")),
    "set_slip": (gettext_lazy("slips of sets"), gettext_lazy("slips of sets")),
    "bag": (gettext_lazy("bag label"), gettext_lazy("bag labels")),
    "bag_number": (
        gettext_lazy("blank bag number"),
        gettext_lazy("blank bag numbers"),
    ),
    "cleared": (gettext_lazy("cleared label"), gettext_lazy("cleared labels")),
    "shipment": (gettext_lazy("shipment label"), gettext_lazy("shipment labels")),
    "place": (gettext_lazy("place label"), gettext_lazy("place labels")),
    "carrier": (gettext_lazy("carrier label"), gettext_lazy("carrier labels")),
    "command": (gettext_lazy("command label"), gettext_lazy("command labels")),
    "badge": (gettext_lazy("badge"), gettext_lazy("badges")),
    TEST: (gettext_lazy("test page"), gettext_lazy("test pages")),
}
"""What labels are called, one and many, by their name in the print log."""

PAGES: Final = {
    "box": "kitting:box-detail",
    "set_slip": "kitting:box-detail",
    "bag": "kitting:bag-detail",
    "place": "kitting:place-detail",
    "carrier": "kitting:carrier-detail",
    "shipment": "dispatch:shipment-detail",
}
"""The page of what a label names, where it has one that all who print may see."""


@register.filter
def label_kind(name: str, count: int = 1) -> str:
    """Say what labels are, by their name in the print log."""
    one, many = KINDS.get(name, (name, name))
    return str(one if count == 1 else many)


def kind_of(row: Print) -> str:
    """Name of a label in the log; older rows have none and tell by what they name."""
    return row.kind or ("box" if row.box_id else "bag")


def number_of(row: Print) -> str:
    """What a label in the log names."""
    if row.number:
        return row.number
    return str(row.box.serial if row.box else row.bag.number if row.bag else "")


register.filter("kind_of", kind_of)
register.filter("number_of", number_of)


@register.filter
def sha(row: Print) -> str:
    """Write the hash of a label's document as its address has it."""
    return bytes(row.pdf_sha).hex()


@register.filter
def page_of(number: str, kind: str) -> str:
    """Give the address of what a label names; nothing where it has no page."""
    if kind == "cleared":
        kind = "carrier" if number.startswith(numbers.Kind.CARRIER) else "bag"
    if kind == "shipment":
        number = number.partition(" ")[0]
    try:
        return reverse(PAGES[kind], args=[number])
    except (KeyError, NoReverseMatch):
        return ""


@register.filter
def trouble(job: PrintJob | None) -> str:
    """Say what is wrong with a print job; nothing where all is well."""
    if job is None or not job.trouble:
        return ""
    return sentence(LotwardError(job.trouble, **job.told))


@register.filter
def on_the_way(job: PrintJob | None) -> bool:
    """Tell whether there is a job that is not over."""
    return job is not None and job.state not in PRINT_OVER


@register.filter
def may_cancel(job: PrintJob) -> bool:
    """Tell whether a job can still be cancelled: it is not over, nor asked to stop."""
    return job.state not in PRINT_OVER and not job.stop_asked


@register.filter
def stopping(job: PrintJob) -> bool:
    """Tell whether a job's printer is being asked to give it up."""
    return job.state not in PRINT_OVER and job.stop_asked


@register.filter
def is_failed(job: PrintJob) -> bool:
    """Tell whether somebody has to decide what becomes of a job."""
    return job.state == PrintState.FAILED
