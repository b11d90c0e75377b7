"""Who was told of a case: calls and what undoes them, letters and how they went."""

from __future__ import annotations

from datetime import datetime

from django.db import models
from django.db.models import Exists, OuterRef, Q

from dispatch.domain.needs import RequestStage
from dispatch.domain.notices import LONGEST, Outcome, Way
from dispatch.models.cases import Case, CaseBox
from dispatch.models.consignees import Consignee, Request
from dispatch.models.shipments import Shipment, ShipmentBox
from kitting.models import Operation
from kitting.models.base import Guarded, check, once, one_of, word_field


class CaseCall(Guarded):
    """A call to a consignee about a case; good until it is undone."""

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="calls")
    consignee = models.ForeignKey(
        Consignee, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    outcome = word_field(Outcome)
    spoke_to = models.CharField(max_length=LONGEST["spoke_to"], blank=True)
    """Who was reached, as written; empty where nobody was."""
    said = models.CharField(max_length=LONGEST["said"], blank=True)
    """What they said, or where it was left, such as on a machine."""
    stopped = models.BooleanField()
    """Whether they said that nobody uses the boxes or passes them on any more."""
    set_aside = models.BooleanField()
    """Whether they said that the boxes stand apart."""
    told_on = models.BooleanField()
    """Whether they said that they told whomever they passed boxes on to."""
    called_at = models.DateTimeField(null=True)
    """When it was, to the minute; empty where it was noted at once."""

    class Meta:
        default_permissions = ()
        constraints = [
            one_of("dispatch_casecall_outcome_known", "outcome", Outcome),
            check(
                "dispatch_casecall_reached_somebody",
                (Q(outcome=Outcome.REACHED) & ~Q(spoke_to=""))
                | Q(spoke_to="", stopped=False, set_aside=False, told_on=False)
                & ~Q(outcome=Outcome.REACHED),
            ),
        ]

    @property
    def when(self) -> datetime:
        """When it was."""
        return self.called_at or self.operation.at

    def was_before(self, act: Operation) -> bool:
        """Whether it may have been before an act, and so have told nobody of it.

        It is noted to the minute: within that of an act it may have been before, but none
        was before its case was opened.
        """
        if act.pk == self.case.operation_id:
            return False
        earlier = self.called_at is not None and self.called_at < act.at
        return earlier or self.operation_id < act.pk

    def __str__(self) -> str:
        return f"call to {self.consignee_id} about case {self.case_id}"


class CallUndone(Guarded):
    """That a call was noted wrongly: it counts for nothing, and stays on record."""

    call = models.OneToOneField(
        CaseCall, on_delete=models.PROTECT, related_name="undone"
    )
    reason = models.CharField(max_length=200)

    class Meta:
        default_permissions = ()

    def __str__(self) -> str:
        return f"call {self.call_id} undone: {self.reason}"


class Letter(Guarded):
    """What one consignee is told of a case on paper, as it was when it was made."""

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="letters")
    consignee = models.ForeignKey(
        Consignee, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    nth = models.PositiveSmallIntegerField()
    """Of those made to it about the case, sent or not."""
    urgent = models.BooleanField()
    hazard = models.CharField(max_length=LONGEST["hazard"])
    """Why, and what can happen to whom, in the consignee's language."""
    to_do = models.CharField(max_length=LONGEST["to_do"])
    """What is to be done with the product, in the consignee's language."""
    language = models.CharField(max_length=8)
    address = models.TextField()
    """Name and address, a line for each, as they are printed."""
    contact = models.CharField(max_length=60)
    """Whom to call by day, at the workshop."""
    night_contact = models.CharField(max_length=60)
    answer_by = models.DateField(null=True)
    """By which day it asks for an answer; empty for none."""

    class Meta:
        default_permissions = ()
        constraints = [
            once("dispatch_letter_nth", "case", "consignee", "nth"),
            check("dispatch_letter_says", ~Q(hazard="") & ~Q(to_do="")),
        ]

    @property
    def sent(self) -> LetterSent | None:
        """How it went, the newest way; None while it has not gone, or did not arrive."""
        return next((each for each in self.tries if each.went), None)

    @property
    def tries(self) -> list[LetterSent]:
        """How it was sent or could not be, the newest first."""
        return sorted(self.sendings.all(), key=lambda each: -each.pk)

    def __str__(self) -> str:
        return f"letter {self.nth} to {self.consignee_id} about case {self.case_id}"


class LetterBox(Guarded):
    """A box that a letter names."""

    letter = models.ForeignKey(
        Letter, on_delete=models.PROTECT, related_name="boxes", db_index=False
    )
    listed = models.ForeignKey(
        CaseBox, on_delete=models.PROTECT, related_name="letters"
    )
    shipment = models.ForeignKey(
        Shipment, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    """The one that it left with."""
    lots = models.TextField()
    """Numbers of the lots in it that the case is about, a line for each."""
    passed_to = models.ForeignKey(
        Consignee,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        db_index=False,
    )
    """To whom this consignee had passed it on; empty where it had it itself."""
    new = models.BooleanField()
    """Whether no letter to this consignee named it that had gone, and was not back."""

    class Meta:
        default_permissions = ()
        constraints = [once("dispatch_letterbox_once", "letter", "listed")]

    def __str__(self) -> str:
        return f"box {self.listed_id} in letter {self.letter_id}"


class LetterSent(Guarded):
    """That a letter was sent, or could not be."""

    letter = models.ForeignKey(
        Letter, on_delete=models.PROTECT, related_name="sendings"
    )
    way = word_field(Way)
    to = models.CharField(max_length=200)
    """The address of the e-mail; for paper who took it, or by which post."""
    fault = models.CharField(max_length=200, blank=True)
    """Why it did not go; empty where it went."""

    class Meta:
        default_permissions = ()
        constraints = [one_of("dispatch_lettersent_way_known", "way", Way)]

    @property
    def went(self) -> bool:
        """Whether it went, and nobody said that it did not arrive."""
        return not self.fault and not hasattr(self, "back")

    def __str__(self) -> str:
        return f"letter {self.letter_id} to {self.to}"


class LetterBack(Guarded):
    """That a letter which was sent did not arrive: its consignee is not told by it."""

    sending = models.OneToOneField(
        LetterSent, on_delete=models.PROTECT, related_name="back"
    )
    reason = models.CharField(max_length=200)

    class Meta:
        default_permissions = ()
        constraints = [check("dispatch_letterback_has_a_reason", ~Q(reason=""))]

    def __str__(self) -> str:
        return f"sending {self.sending_id} did not arrive"


class Replacement(Guarded):
    """A box of a case for whose sets its consignee gets others, by a request.

    Come back unopened, it opens no other request again while that one stands: one that is
    cancelled before a box of it has left replaces nothing.
    """

    listed = models.ForeignKey(
        CaseBox, on_delete=models.PROTECT, related_name="replacements"
    )
    request = models.ForeignKey(
        Request, on_delete=models.PROTECT, related_name="replaces"
    )

    class Meta:
        default_permissions = ()
        constraints = [once("dispatch_replacement_once", "listed", "request")]

    @classmethod
    def standing(cls) -> models.QuerySet[Replacement]:
        """Those by requests that are not cancelled, or of which a box had left by then."""
        off = Q(request__stage=RequestStage.CANCELLED)
        return cls.objects.exclude(off & ~Exists(cls.left()))

    @staticmethod
    def left() -> models.QuerySet[ShipmentBox]:
        """Boxes that left for the request of a row; after it is cancelled none does."""
        gone = ShipmentBox.objects.filter(live=True, shipment__sent_at__isnull=False)
        return gone.filter(request=OuterRef("request"))

    def __str__(self) -> str:
        return f"box {self.listed_id} replaced by request {self.request_id}"
