"""Boxes promised to requests, as they were shared, and promises released."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from dispatch.models.consignees import Consignee, Request
from kitting.models.base import Guarded, check, once


class Allotment(Guarded):
    """Scarce boxes of a product that were promised to open requests in one act."""

    number = models.CharField(max_length=20, unique=True)
    product = models.ForeignKey(
        "kitting.Product", on_delete=models.PROTECT, related_name="+"
    )
    day = models.DateField()
    window = models.PositiveSmallIntegerField()
    """Days within which what was received counted; 0 for none."""
    reason = models.CharField(max_length=200, blank=True)
    """Why it is not as it was proposed, where it is not."""

    def __str__(self) -> str:
        return self.number


class AllotmentSize(Guarded):
    """Boxes of a size that an allotment shared."""

    allotment = models.ForeignKey(
        Allotment, on_delete=models.PROTECT, related_name="sizes", db_index=False
    )
    size = models.ForeignKey(
        "kitting.BoxSize", on_delete=models.PROTECT, related_name="+", db_index=False
    )
    ready = models.PositiveIntegerField()
    """Ready to go and promised to nobody."""
    packing = models.PositiveIntegerField()
    """Yet to be packed, and counted in."""

    class Meta:
        default_permissions = ()
        constraints = [once("dispatch_allotmentsize_once", "allotment", "size")]

    def __str__(self) -> str:
        return f"{self.ready} and {self.packing} of {self.size_id}"


class AllotmentLine(Guarded):
    """A request in an allotment, and why it got what it got, as figures then were.

    Requests of one consignee that need it equally share together: what is asked, given,
    received and shared is of all of them.
    """

    allotment = models.ForeignKey(
        Allotment, on_delete=models.PROTECT, related_name="lines", db_index=False
    )
    request = models.ForeignKey(
        Request, on_delete=models.PROTECT, related_name="allotted"
    )
    whom = models.ForeignKey(
        Consignee, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    """As whom it shared: whom its consignee was merged with, if it was by then."""
    tier = models.PositiveSmallIntegerField()
    lacked = models.PositiveIntegerField()
    """Sets that the request lacked, beyond what was promised to it."""
    code = models.CharField(max_length=12)
    """Why: see ``domain.allotment.Reason``."""
    asked = models.PositiveIntegerField()
    given = models.PositiveIntegerField()
    """Sets that were proposed."""
    received = models.PositiveIntegerField()
    share_hundredths = models.PositiveIntegerField()
    """Sets that were its fair share, times 100."""
    weight_tenths = models.PositiveSmallIntegerField()
    floor = models.PositiveIntegerField()
    first = models.BooleanField(default=False)
    """Whether it has the last box as the first of several that had as little."""
    why = models.CharField(max_length=200, blank=True)
    """Why it had a weight or a floor of its own."""

    class Meta:
        default_permissions = ()
        constraints = [once("dispatch_allotmentline_once", "allotment", "request")]

    def __str__(self) -> str:
        return f"request {self.request_id} in allotment {self.allotment_id}"


class Promise(Guarded):
    """So many boxes of a size are for a request; which ones is open until they are loaded."""

    line = models.ForeignKey(
        AllotmentLine, on_delete=models.PROTECT, related_name="promises", db_index=False
    )
    size = models.ForeignKey(
        "kitting.BoxSize", on_delete=models.PROTECT, related_name="+"
    )
    proposed = models.PositiveIntegerField()
    boxes = models.PositiveIntegerField()
    """As confirmed."""

    class Meta:
        default_permissions = ()
        constraints = [
            once("dispatch_promise_once", "line", "size"),
            check("dispatch_promise_some", Q(boxes__gte=1) | Q(proposed__gte=1)),
        ]

    def __str__(self) -> str:
        return f"{self.boxes} of size {self.size_id}"


class PromiseRelease(Guarded):
    """Boxes of a promise that are promised no more."""

    promise = models.ForeignKey(
        Promise, on_delete=models.PROTECT, related_name="releases"
    )
    boxes = models.PositiveIntegerField()
    reason = models.CharField(max_length=200)

    class Meta:
        default_permissions = ()
        constraints = [check("dispatch_promiserelease_some", boxes__gte=1)]

    def __str__(self) -> str:
        return f"{self.boxes} of promise {self.promise_id}"
