"""What lies outside the database: its key, heads on paper, the file of heads.

Somebody with the whole database in hand can write a history anew that follows from link
to link. Each anchor finds it by itself, without the others.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import stat
from collections import defaultdict
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import IntegrityError, transaction

from kitting.ledger import keys
from kitting.ledger.operations import link_hash
from kitting.ledger.proof import Fault, heads, prove
from kitting.ledger.proof.chain import sealed_models
from kitting.models import Hold, JournalHead, Link, Operation, Workshop
from tests import factories
from tests.databases import guards_away
from tests.factories import NOW
from tests.ledgers import History

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def folder(settings: Any, tmp_path: Path, history: History) -> Path:
    """A data folder of this test's alone, with the key of the history's server in it."""
    (tmp_path / keys.FILE).write_bytes(keys.path().read_bytes())
    settings.DATA_DIR = tmp_path
    keys.begin_heads()
    return tmp_path


def run(*options: str) -> str:
    out = StringIO()
    call_command("prove", *options, stdout=out)
    return out.getvalue()


def faults(*options: str) -> str:
    out = StringIO()
    with pytest.raises(SystemExit):
        call_command("prove", *options, stdout=out)
    return out.getvalue()


def rewrite() -> None:
    """Let a hold have had another reason, and every link follow from that."""
    with guards_away():
        Hold.objects.update(reason="a drill")
        Hold.objects.filter(pk=Hold.objects.earliest("pk").pk).update(reason="nothing")
        before = bytes(32)
        written = defaultdict(list)
        for model in sealed_models():
            for row in model._default_manager.filter(operation__isnull=False):
                written[row.operation_id].append(row)  # type: ignore[attr-defined]
        for link in Link.objects.select_related("operation").order_by("seq"):
            done = link.operation
            rows = written[done.pk]
            link.hash = link_hash(before, link.seq, done, link.outcome, rows)
            link.save(update_fields=["hash"])
            before = bytes(link.hash)
        JournalHead.objects.update(hash=before)


def found_by(found: list[Fault]) -> set[str]:
    return {fault.check for fault in found}


# -- The key --------------------------------------------------------------------------


def test_each_link_carries_the_hmac_of_its_hash() -> None:
    """Worked out with the standard library, from the file as it lies there."""
    key = bytes.fromhex(keys.path().read_text())
    assert len(key) == 32
    for link in Link.objects.order_by("seq"):
        right = hmac.new(key, bytes(link.hash), hashlib.sha256).digest()
        assert bytes(link.keyed or b"") == right


def test_the_first_act_makes_a_key_for_the_servers_eyes_only(folder: Path) -> None:
    keys.path().unlink()
    keys.make()
    first = keys.key()
    keys.make()
    assert keys.key() == first
    assert first is not None
    assert stat.S_IMODE((folder / keys.FILE).stat().st_mode) == 0o600
    assert {file.name for file in folder.iterdir()} == {keys.FILE, heads.FILE}


def test_a_rewritten_history_does_not_fit_the_key() -> None:
    rewrite()
    found = prove()
    assert found_by(found) == {"keyed links"}
    first = Hold.objects.order_by("operation__link__seq").first()
    assert first is not None
    assert min(fault.pk for fault in found if fault.pk) == first.operation.link.pk


def test_nor_does_it_once_the_server_went_on_after_it() -> None:
    """A link of its own, after a history of which none is, hides nothing."""
    with guards_away():
        Operation.objects.filter(link__seq=1).update(by_name="nobody")
    rewrite()
    assert "No link was written" in str(*prove())
    rewritten = Link.objects.latest("seq")
    factories.make_lot()
    factories.seal_set_up()
    (fault,) = prove()
    own = Link.objects.get(seq=rewritten.seq + 1)
    assert (fault.check, fault.pk) == ("keyed links", own.pk)
    assert "was rewritten" in fault.words


def test_without_the_key_the_plain_chain_is_followed_and_it_says_so() -> None:
    keys.path().unlink()
    said = run("--no-record")
    assert "only the plain chain was followed" in said
    assert said.endswith("Everything holds.\n")
    rewrite()
    assert prove() == []  # that is what the key is for


def test_one_link_by_another_key_is_named() -> None:
    last = Link.objects.latest("seq")
    with guards_away():
        Link.objects.filter(pk=last.pk).update(keyed=b"\1" * 32)
    (fault,) = prove()
    assert (fault.check, fault.pk) == ("keyed links", last.pk)


def test_the_key_of_another_server_fits_no_link() -> None:
    keys.path().write_text("ab" * 32)
    (fault,) = prove()
    assert fault.check == "keyed links"


def test_links_go_on_without_a_lost_key_until_an_act_starts_another() -> None:
    keys.path().unlink()
    factories.make_lot()
    factories.seal_set_up()
    assert Link.objects.latest("seq").keyed is None
    before = Link.objects.count()
    call_command("startkey", stdout=StringIO())
    assert json.loads(Link.objects.get(seq=before + 1).outcome) == {"after": before}
    assert Operation.objects.latest("pk").name == "start_key"
    factories.make_lot()
    factories.seal_set_up()
    assert prove() == []
    rewrite()
    assert found_by(prove()) == {"keyed links"}


def test_a_key_that_is_there_is_not_started_again() -> None:
    before = keys.key()
    with pytest.raises(CommandError, match="There is a key already"):
        call_command("startkey")
    assert keys.key() == before


# -- On paper -------------------------------------------------------------------------


def on_paper() -> str:
    (printed,) = (head.on_paper for head in heads.current())
    return printed


def test_a_paper_shows_the_first_sixteen_digits_of_the_head() -> None:
    head = JournalHead.objects.get()
    assert on_paper() == f"1/{head.seq}:{bytes(head.hash).hex()[:16]}"


def test_what_a_paper_says_is_in_the_journal_and_stays_there() -> None:
    paper = on_paper()
    factories.make_lot()
    factories.seal_set_up()
    assert "Everything holds." in run("--expect", paper, "--expect", paper[2:])


def test_a_rewritten_history_does_not_fit_a_paper() -> None:
    paper = on_paper()
    keys.path().unlink()
    rewrite()
    said = faults("--expect", paper)
    assert "is another than the one on paper" in said
    assert paper.rpartition(":")[2] in said


def test_a_paper_of_a_later_link_than_there_is_says_so() -> None:
    assert "found none" in faults("--expect", "1/900000:0123456789abcdef")


@pytest.mark.parametrize(
    "text", ["", "12", "1/12", "1/12:xyz", "12:0123", "x/1:" + "0" * 16]
)
def test_what_is_no_head_is_a_sentence(text: str) -> None:
    with pytest.raises(CommandError, match="is no head"):
        call_command("prove", "--expect", text)


def test_it_may_be_typed_as_a_tired_person_types() -> None:
    paper = on_paper()
    typed = f" {paper[:9].upper()} {paper[9:]} "
    assert "Everything holds." in run("--expect", typed)


# -- The file of heads ----------------------------------------------------------------


def test_before_the_first_proof_the_file_is_empty(folder: Path) -> None:
    (folder / heads.FILE).unlink()
    Workshop.objects.update(proved_at=None, proved_seq=None)
    keys.path().unlink()
    assert prove() == []  # the note on the key says what is missing here
    keys.make()
    assert (folder / heads.FILE).read_bytes() == b""
    assert stat.S_IMODE((folder / heads.FILE).stat().st_mode) == 0o600


@pytest.mark.parametrize("known", [None, 0])
def test_a_file_that_is_gone_is_found_though_no_proof_is_known(
    folder: Path, known: int | None
) -> None:
    run()
    forgotten = {"proved_at": None if known is None else NOW, "proved_seq": known}
    Workshop.objects.update(**forgotten)
    assert prove() == []
    (folder / heads.FILE).unlink()
    (fault,) = prove()
    assert (fault.check, fault.found) == ("file of heads", "none")


@pytest.mark.parametrize("column", ["proved_at", "proved_seq"])
def test_the_newest_proof_is_not_half_forgotten(column: str) -> None:
    run()
    with pytest.raises(IntegrityError), transaction.atomic():
        Workshop.objects.update(**{column: None})


def test_a_file_that_is_gone_is_found(folder: Path) -> None:
    run()
    assert Workshop.objects.get().proved_seq == JournalHead.objects.get().seq
    (folder / heads.FILE).unlink()
    (fault,) = prove()
    assert (fault.check, fault.found) == ("file of heads", "none")


def test_an_older_file_is_found(folder: Path) -> None:
    run()
    older = (folder / heads.FILE).read_text()
    factories.make_lot()
    factories.seal_set_up()
    run()
    (folder / heads.FILE).write_text(older)
    (fault,) = prove()
    assert fault.check == "file of heads"


def test_a_proof_that_finds_something_is_not_remembered() -> None:
    run()
    before = Workshop.objects.get()
    with guards_away():
        Workshop.objects.update(name="Elsewhere")
    faults()
    assert Workshop.objects.get().proved_at == before.proved_at
