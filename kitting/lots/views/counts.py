"""Pages on which a bag is counted again."""

from __future__ import annotations

from functools import partial

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpResponse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from kitting.domain.errors import LotwardError
from kitting.lots.forms.counts import CountForm, WeighForm
from kitting.lots.queries.bags import one_bag
from kitting.lots.queries.counts import last_weighing
from kitting.lots.services import counts
from kitting.lots.views.bags import bag_address, context_of
from kitting.models import Bag, User
from kitting.people.queries import checkers_besides
from kitting.web.acting import OK, UNFIT, attempt, form_page
from kitting.web.http import LotwardRequest, add_refusal, allowed, get_or_404, go

MOST_NAMED = 20
"""Boxes that the sentence after a count names one by one."""


@allowed("kitting.count_bags", "GET", "POST")
def bag_count(request: LotwardRequest, number: str) -> HttpResponse:
    """Count a bag again by hand, machine or in stacks."""
    bag = get_or_404(one_bag(), number=number)
    form = CountForm(request.POST or None, bag=bag, checkers=_checkers(request))
    done, status = attempt(request, form, partial(counts.count_again, bag_id=bag.pk))
    if done is not None:
        return _counted(request, done)
    form.ask_about_found()
    return form_page(
        request,
        "kitting/lots/bag_count",
        form,
        status,
        act=_("Save the count"),
        back=bag_address(bag.number),
        **context_of(bag),
    )


@allowed("kitting.count_bags", "GET", "POST")
def bag_weigh(request: LotwardRequest, number: str) -> HttpResponse:
    """Count a bag by weight: first what comes out, then whether it is taken."""
    bag = get_or_404(one_bag(), number=number)
    sent = request.POST if request.method == "POST" else None
    last, checkers = last_weighing(bag), _checkers(request)
    form = WeighForm(sent, bag=bag, last=last, checkers=checkers)
    status, weighed = OK, None
    if sent is not None:
        if "take" in sent:
            act = partial(counts.count_by_weight, bag_id=bag.pk)
            done, status = attempt(request, form, act)
            if done is not None:
                return _counted(request, done)
            form.ask_about_found()
        weighed, unfit = _worked_out(form, bag)
        if weighed is not None and weighed.unlike:
            form.ask_about_mass()
        status = status if status != OK else unfit
    return form_page(
        request,
        "kitting/lots/bag_weigh",
        form,
        status,
        fragment="_bag_weigh_form",
        weighed=weighed,
        back=bag_address(bag.number),
        **context_of(bag),
    )


def _checkers(request: LotwardRequest) -> QuerySet[User]:
    two_people = request.workshop.two_people
    return checkers_besides(request.user, two_people=two_people)


def _worked_out(form: WeighForm, bag: Bag) -> tuple[counts.Weighed | None, int]:
    """The count of a valid form before it is taken, or why there is none."""
    valid = form.is_valid()
    try:
        weighed = counts.weigh(form.weighed, bag.lot.part)
    except KeyError:  # a figure could not be read
        return None, UNFIT
    except LotwardError as error:
        if not form.has_error("__all__", error.code):
            add_refusal(form, error)
        return None, UNFIT
    return weighed, OK if valid else UNFIT


def _counted(request: LotwardRequest, done: counts.Counted) -> HttpResponse:
    """Say what a count came to, and go to the bag."""
    values = {"bag": done.bag, "count": done.counted, "many": abs(done.difference)}
    values["left"] = done.counted - done.scrapped
    if done.difference == 0:
        said = _("Bag %(bag)s holds %(count)s, as on record.")
    elif done.scrapped:
        said = _(
            "Bag %(bag)s holds %(left)s. Found in it and scrapped: %(many)s. Put those"
            " into the waste."
        )
    elif done.difference > 0:
        said = _("Bag %(bag)s holds %(count)s. Found: %(many)s.")
    else:
        said = _("Bag %(bag)s holds %(count)s. Missing: %(many)s.")
    messages.success(request, said % values)
    if done.difference and done.boxes:
        messages.warning(request, boxes_named(done.boxes))
    if done.most is not None:
        words = _(
            "More pieces were in its run than the protocol covers, which is %(most)s"
            " at most. Tell a quality officer: the bag may need a hold."
        )
        messages.warning(request, words % {"most": done.most})
    return go(request, bag_address(done.bag))


def boxes_named(boxes: list[str]) -> str:
    """Say which boxes were filled from a bag whose count was out.

    Args:
        boxes: Their numbers, in the order of their filling; at least one.

    Returns:
        A sentence; of many boxes it names the last.
    """
    words = ngettext(
        "%(count)s box was filled from this bag, and its count may be wrong too:"
        " %(boxes)s.",
        "%(count)s boxes were filled from this bag, and their counts may be wrong"
        " too: %(boxes)s.",
        len(boxes),
    )
    named = ", ".join(boxes[-MOST_NAMED:])
    if len(boxes) > MOST_NAMED:
        named = _("the last are %(boxes)s") % {"boxes": named}
    return words % {"count": len(boxes), "boxes": named}
