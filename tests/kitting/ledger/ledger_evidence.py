"""The part of a small workshop's history that counts, samples and protocols write."""

from __future__ import annotations

from datetime import timedelta

from kitting.checking.services.again import accept_again
from kitting.disinfection.queries.protocols import mark_of
from kitting.disinfection.services import covers, evidence, protocols
from kitting.domain.entries import Load, Report, Terms
from kitting.ledger import coded
from kitting.lots.services import counts, samples
from kitting.lots.services.repack import repack
from kitting.lots.services.set_back import set_back
from kitting.models import Bag, Bench, Part, Protocol, Revision
from kitting.packing.services import boxes
from kitting.packing.services.hand_over import hand_over
from tests import factories
from tests.factories import sign, sign_by_another


def count_and_sample(bag: Bag) -> None:
    """A count that missed a piece, and a sample with its result."""
    bag.refresh_from_db()
    counts.count_again(
        bag_id=bag.pk,
        counted=bag.pieces - 1,
        counted_by="hand",
        reason="Torn",
        sign=sign(),
    )
    sent = samples.send_to_test(
        bag_id=bag.pk,
        pieces=1,
        what_for="Swab",
        sent_to="Eskmoor laboratory",
        sign=sign(),
    )
    samples.record_result(
        sample_id=sent.sample_id, result="No growth", document="", sign=sign()
    )


def find_some(bag: Bag) -> None:
    """A piece more in a cleared bag, which stays there on the word of a checker."""
    counts.count_again(
        bag_id=bag.pk,
        counted=Bag.objects.get(pk=bag.pk).pieces + 1,
        counted_by="hand",
        reason="Under the flap",
        found="kept",
        checker_id=factories.make_person("checker").pk,
        sign=sign(),
    )


def repack_some(bag: Bag) -> None:
    """Two cleared pieces go into a bag of their own; one of them is set back."""
    done = repack(bag_id=bag.pk, pieces=2, sign=sign())
    new = Bag.objects.get(number=done.into[0])
    repack(bag_id=new.pk, pieces=1, again=True, sign=sign())


def hand_over_and_back(box_id: int, bench: Bench) -> None:
    """An open box goes to another bench, and comes back."""
    other = factories.make_bench()
    for here, there in ((bench, other), (other, bench)):
        which = {"bench_id": here.pk, "box_id": box_id, "to_id": there.pk}
        hand_over(**which, sign=sign())


def set_one_back(revision: Revision) -> None:
    """A bag that was open for longer than its part allows, and looked at again."""
    part = revision.part
    Part.objects.filter(pk=part.pk).update(open_hours=8)
    bag = factories.make_bag(revision, pieces=9)
    bench = factories.make_bench()
    boxes.bring_bag(bench_id=bench.pk, bag_id=bag.pk, sign=sign())
    late = sign(now=factories.NOW + timedelta(hours=9))
    done = set_back(bag_id=bag.pk, sign=late)
    new = Bag.objects.get(number=done.into)
    again = sign(now=factories.NOW + timedelta(hours=9))
    accept_again(bag_id=new.pk, reason="Clean and dry", sign=again)
    Part.objects.filter(pk=part.pk).update(open_hours=None)


def cover_and_withdraw(revision: Revision, protocol: Protocol) -> None:
    """A newer revision that went on like one that the protocol names, until it did not."""
    newer = factories.make_revision(revision.part, "NEW")
    done = covers.cover_revision(
        protocol_id=protocol.pk,
        revision_id=newer.pk,
        like_id=revision.pk,
        reason="The same material",
        seen=coded.mark_of(newer),
        sign=sign_by_another(),
    )
    lot = factories.accept(factories.make_lot(newer))
    run = factories.open_run(protocol)
    factories.expose(run, lot.bags.get())
    factories.close_run(run)
    why = {"cover_id": done.cover_id, "reason": "It is thicker"}
    covers.withdraw_cover(**why, sign=sign())


def sign_and_retire(revision: Revision) -> Protocol:
    """A protocol that was signed on its evidence, and retired the same day."""
    report = Report(
        code=factories.unique("EV"),
        laboratory="Eskmoor laboratory",
        surface="PETG film",
        measured="log reduction",
        result="3.2",
        document="Report 1",
        on=factories.TODAY,
    )
    evidence.record_evidence(report=report, sign=sign())
    terms = Terms(
        name="Belt, tried out",
        process="uvc_belt",
        in_force_from=factories.TODAY,
        required_top_uj_cm2=100_000,
        loads=(Load(revision.pk, "tote", 100),),
        evidence=(report.code,),
    )
    code = factories.unique("T")
    drafted = protocols.draft_protocol(code=code, terms=terms, sign=sign())
    protocol = Protocol.objects.get(pk=drafted.protocol_id)
    protocols.sign_protocol(
        protocol_id=protocol.pk,
        meaning="Approved",
        mark=mark_of(protocol, until=None).hex(),
        sign=sign_by_another(),
    )
    protocols.retire_protocol(protocol_id=protocol.pk, reason="Superseded", sign=sign())
    protocol.refresh_from_db()
    return protocol
