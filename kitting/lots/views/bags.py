"""Pages of a bag: what it is, counting it again, and pieces for tests."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_http_methods

from kitting.domain.errors import LotwardError
from kitting.ledger.reach import standing_reach
from kitting.lots.forms.bags import CountForm, ResultForm, SampleForm, WeighForm
from kitting.lots.queries.bags import bag_page, last_weighing, one_bag, one_sample
from kitting.lots.services import counts, samples
from kitting.web.acting import OK, UNFIT, attempt
from kitting.web.http import add_refusal, allowed, get_or_404, go, render_part

if TYPE_CHECKING:
    from django.http import HttpResponse

    from kitting.ledger.operations import Sign
    from kitting.models import Bag
    from kitting.web.http import LotwardRequest

MOST_NAMED = 20
"""Boxes that the sentence after a count names one by one."""


def bag_address(number: str) -> str:
    """The address of a bag's page."""
    return reverse("kitting:bag-detail", args=[number])


@allowed("kitting.see_work")
@require_GET
def bag_detail(request: LotwardRequest, number: str) -> HttpResponse:
    """Everything about one bag."""
    bag = get_or_404(one_bag(), number=number)
    return render_part(
        request,
        page="kitting/lots/bag_detail.html",
        part="kitting/lots/_bag.html",
        context={
            "bag": bag,
            "shown": bag_page(bag, standing_reach()),
            "here": "kitting:lots",
        },
    )


def _form_page(
    request: LotwardRequest, name: str, status: int, bag: Bag, **context: Any
) -> HttpResponse:
    shown = bag_page(bag, standing_reach())
    part = context.pop("fragment", "_form.html")
    return render_part(
        request,
        page=f"kitting/lots/{name}.html",
        part=part,
        context={
            "bag": bag,
            "shown": shown,
            "part": name.replace("_", "-"),
            "back": bag_address(bag.number),
            "here": "kitting:lots",
            **context,
        },
        status=status,
    )


@allowed("kitting.count_bags")
@require_http_methods(["GET", "POST"])
def bag_count(request: LotwardRequest, number: str) -> HttpResponse:
    """Count a bag again by hand, machine or in stacks."""
    bag = get_or_404(one_bag(), number=number)
    form = CountForm(request.POST or None, bag=bag)
    status = OK
    if request.method == "POST":
        done, status = attempt(request, form, lambda sign: _count(bag, form, sign))
        if done is not None:
            return _counted(request, done)
    act = _("Save the count")
    return _form_page(request, "bag_count", status, bag, form=form, act=act)


def _count(bag: Bag, form: CountForm, sign: Sign) -> counts.Counted:
    data = form.cleaned_data
    return counts.count_again(
        bag_id=bag.pk,
        counted=form.total,
        counted_by=data["counted_by"],
        stacks=form.in_stacks,
        reason=data["reason"],
        moves=data["moves"],
        sign=sign,
    )


@allowed("kitting.count_bags")
@require_http_methods(["GET", "POST"])
def bag_weigh(request: LotwardRequest, number: str) -> HttpResponse:
    """Count a bag by weight: first what comes out, then whether it is taken."""
    bag = get_or_404(one_bag(), number=number)
    sent = request.POST if request.method == "POST" else None
    form = WeighForm(sent, bag=bag, last=last_weighing(bag))
    status, weighed = OK, None
    if sent is not None:
        if "take" in sent:
            done, status = attempt(request, form, lambda sign: _weigh(bag, form, sign))
            if done is not None:
                return _counted(request, done)
        weighed, unfit = _worked_out(form, bag)
        if weighed is not None and weighed.unlike:
            form.ask_about_mass()
        status = status if status != OK else unfit
    return _form_page(
        request,
        "bag_weigh",
        status,
        bag,
        form=form,
        weighed=weighed,
        fragment="kitting/lots/_bag_weigh_form.html",
    )


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


def _weigh(bag: Bag, form: WeighForm, sign: Sign) -> counts.Counted:
    data = form.cleaned_data
    return counts.count_by_weight(
        bag_id=bag.pk,
        weighed=form.weighed,
        sure=data["sure"],
        other_mass=data["other_mass"],
        reason=data["reason"],
        moves=data["moves"],
        sign=sign,
    )


def _counted(request: LotwardRequest, done: counts.Counted) -> HttpResponse:
    """Say what a count came to, and go to the bag."""
    values = {"bag": done.bag, "count": done.counted, "many": abs(done.difference)}
    if done.difference == 0:
        said = _("Bag %(bag)s holds %(count)s, as on record.")
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


@allowed("kitting.count_bags")
@require_http_methods(["GET", "POST"])
def bag_sample(request: LotwardRequest, number: str) -> HttpResponse:
    """Send pieces of a bag to a test."""
    bag = get_or_404(one_bag(), number=number)
    form = SampleForm(request.POST or None, bag=bag)
    status = OK
    if request.method == "POST":
        done, status = attempt(
            request,
            form,
            lambda sign: samples.send_to_test(
                bag_id=bag.pk,
                pieces=form.cleaned_data["pieces"],
                what_for=form.cleaned_data["what_for"],
                sent_to=form.cleaned_data["sent_to"],
                sign=sign,
            ),
        )
        if done is not None:
            said = _("%(pieces)s of bag %(bag)s go to the test; %(left)s are left.")
            values = {"pieces": done.pieces, "bag": done.bag, "left": done.left}
            messages.success(request, said % values)
            return go(request, bag_address(bag.number))
    act = _("Send them to the test")
    return _form_page(request, "bag_sample", status, bag, form=form, act=act)


@allowed("kitting.count_bags")
@require_http_methods(["GET", "POST"])
def sample_result(request: LotwardRequest, pk: int) -> HttpResponse:
    """Record what came back for a sample."""
    sample = get_or_404(one_sample(), pk=pk)
    form = ResultForm(request.POST or None)
    status = OK
    if request.method == "POST":
        done, status = attempt(
            request,
            form,
            lambda sign: samples.record_result(
                sample_id=sample.pk,
                result=form.cleaned_data["result"],
                document=form.cleaned_data["document"],
                sign=sign,
            ),
        )
        if done is not None:
            said = _("The result of the sample of bag %(bag)s is on record.")
            messages.success(request, said % {"bag": done.bag})
            return go(request, bag_address(done.bag))
    act = _("Record the result")
    return _form_page(
        request, "bag_result", status, sample.bag, form=form, act=act, sample=sample
    )
