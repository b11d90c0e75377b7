"""Letters are made, printed and sent from the page of a case."""

from __future__ import annotations

import asyncio
import email
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from email import policy
from io import BytesIO
from queue import Queue
from smtplib import SMTPRecipientsRefused
from threading import Thread
from typing import Any

import pytest
from django.core import mail
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from dispatch.models import Case, Consignee, Letter, LetterSent
from kitting.models import User, Workshop
from tests import factories
from tests.assertions import text_of
from tests.dispatch.notices.calling import There, a_case, box_at, named_workshop, write
from tests.patience import PATIENCE_S

pytestmark = pytest.mark.django_db


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


@pytest.fixture
def quality(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("quality officer"))


@pytest.fixture
def server(settings: Any) -> Any:
    """E-mail is set up; what is sent stays in ``mail.outbox``."""
    settings.EMAIL_HOST = "mail.example"
    settings.DEFAULT_FROM_EMAIL = "recalls@harrow.example"
    return settings


def page_of(case: Case, name: str) -> str:
    return reverse(f"dispatch:{name}", args=[case.number])


def words_of(answer: Any) -> str:
    return " ".join(text_of(answer).split())


def said(**entries: object) -> dict[str, object]:
    return {"op_key": str(uuid.uuid4()), **entries}


def two_at() -> tuple[Case, Consignee, Consignee]:
    named_workshop()
    (box, first), (other, second) = box_at(), box_at()
    first.email = "stores@eskmoor.example"
    first.save()
    return a_case(box, other), first, second


@pytest.mark.smoke
def test_letters_are_made_printed_and_sent_on_paper(
    quality: Client, clerk: Client
) -> None:
    case, first, second = two_at()
    Consignee.objects.filter(pk=second.pk).update(language="de")
    address = page_of(case, "case-write")
    assert (
        f'href="{address}"'
        in quality.get(page_of(case, "case-detail")).content.decode()
    )
    shown = quality.get(address)
    assert "under the law of your country" in words_of(shown)
    assert shown.content.decode().count("A visor cracks") == 1  # in English alone
    sent = said(
        whom=[first.pk, second.pk],
        urgent="on",
        hazard_en="A visor cracks",
        to_do_en="Send them back",
        hazard_de="Ein Visier reißt",
        to_do_de="Geben Sie sie zurück",
    )
    for _ in range(2):
        answer = quality.post(address, sent, follow=True)
        assert answer.status_code == 200
    assert "2 letters are made." in words_of(answer)
    assert Letter.objects.count() == 2
    page = clerk.get(page_of(case, "case-detail"))
    assert words_of(page).count("not sent yet") == 2
    assert address not in page.content.decode()  # only the officer writes
    pdf = clerk.get(page_of(case, "case-letters"))
    pages = [each.extract_text() for each in PdfReader(BytesIO(pdf.content)).pages]
    assert any("Page 1 of" in each for each in pages)
    assert any("Seite 1 von" in each for each in pages)
    rows = [row.pk for row in Letter.objects.all()]
    one = clerk.get(reverse("dispatch:letter", args=[rows[0]]))
    assert one.headers["Content-Type"] == "application/pdf"
    go = page_of(case, "case-send")
    refused = clerk.post(go, said(letters=rows, way="paper"))
    assert (refused.status_code, LetterSent.objects.count()) == (422, 0)
    key = said(letters=rows, way="paper", by="Driver 2, by hand")
    for _ in range(2):
        done = clerk.post(go, key, follow=True)
    assert LetterSent.objects.count() == 2
    text = words_of(done)
    assert "A letter was sent to 2." in text
    assert "Driver 2, by hand" in text
    assert "not sent yet" not in text
    assert clerk.get(page_of(case, "case-letters")).status_code == 404
    assert clerk.get(page_of(case, "case-letters") + "?all").status_code == 200


@pytest.mark.smoke
def test_bad_input_is_said_and_makes_no_letter(quality: Client) -> None:
    case, first, _second = two_at()
    address = page_of(case, "case-write")
    for entries, words in (
        ({"whom": [], "hazard_en": "x", "to_do_en": "y"}, "Choose to whom you write."),
        ({"whom": [first.pk], "hazard_en": "x"}, "What is to be done with the product"),
        ({"whom": [0], "hazard_en": "x", "to_do_en": "y"}, "to whom you write"),
    ):
        answer = quality.post(address, said(**entries))
        assert answer.status_code == 422
        assert words in words_of(answer)
    assert not Letter.objects.exists()


def test_without_a_number_for_the_night_no_letter_is_made(
    quality: Client, there: There
) -> None:
    box, _whom = there
    answer = quality.get(page_of(a_case(box), "case-write"))
    assert "names whom to call by day and at night" in words_of(answer)
    assert '<form class="form' not in answer.content.decode()


def test_a_letter_goes_by_e_mail_and_what_went_is_on_record(
    clerk: Client, server: Any
) -> None:
    case, first, _second = two_at()
    [letter] = write(case, first)
    key = said(letters=[letter.pk], way="email")
    for _ in range(2):
        answer = clerk.post(page_of(case, "case-send"), key, follow=True)
    assert "1 letter is sent." in words_of(answer)
    [message] = mail.outbox
    assert message.to == ["stores@eskmoor.example"]
    assert message.from_email == "recalls@harrow.example"
    assert message.subject.startswith("URGENT: Recall of product")
    assert "Send them back with our driver" in message.body
    [(name, data, kind)] = message.attachments
    assert (name, kind) == (f"{case.number}-{first.code}-1.pdf", "application/pdf")
    text = PdfReader(BytesIO(data)).pages[0].extract_text()
    assert "Stop using these boxes" in text
    row = LetterSent.objects.get()
    assert (row.way, row.to, row.fault) == ("email", "stores@eskmoor.example", "")
    assert factories.prove() == []


def test_what_could_not_go_is_said_and_goes_later(
    clerk: Client, server: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    case, first, second = two_at()
    second.email = "ward@brannoc.example"
    second.save()
    rows = [row.pk for row in write(case, first, second)]

    def away(*_args: object) -> None:
        raise ConnectionRefusedError(111, "Connection refused")

    def unknown(*_args: object) -> None:
        raise SMTPRecipientsRefused({"ward@brannoc.example": (550, b"No such user")})

    send = "django.core.mail.EmailMessage.send"
    for fault, tried in ((away, 1), (unknown, 2)):
        before = LetterSent.objects.count()
        monkeypatch.setattr(send, fault)
        sent = said(letters=rows, way="email")
        answer = clerk.post(page_of(case, "case-send"), sent, follow=True)
        text = words_of(answer)
        assert "0 letters are sent. That to" in text
        assert "was not sent:" in text
        assert LetterSent.objects.count() == before + tried
    assert "Connection refused" in LetterSent.objects.earliest("pk").fault
    monkeypatch.undo()
    page = clerk.get(page_of(case, "case-detail"))
    assert "A letter was sent to 0." in words_of(page)
    clerk.post(page_of(case, "case-send"), said(letters=rows, way="email"))
    assert len(mail.outbox) == 2
    assert "A letter was sent to 2." in words_of(
        clerk.get(page_of(case, "case-detail"))
    )


def test_what_cannot_go_by_e_mail_is_refused(clerk: Client, settings: Any) -> None:
    case, first, second = two_at()
    one, other = write(case, first, second)
    address = page_of(case, "case-send")
    assert "LOTWARD_EMAIL_URL" in words_of(clerk.get(address))
    none = clerk.post(address, said(letters=[one.pk], way="email"))
    assert none.status_code == 422
    assert "This server sends no e-mail" in words_of(none)
    settings.EMAIL_HOST = "mail.example"
    both = said(letters=[one.pk, other.pk], way="email")
    unknown = clerk.post(address, both)
    assert unknown.status_code == 422
    assert f"No e-mail address of {second.name} is on record" in words_of(unknown)
    assert not LetterSent.objects.exists()
    assert mail.outbox == []


def test_a_demo_writes_to_nobody(clerk: Client, server: Any) -> None:
    case, first, _second = two_at()
    [letter] = write(case, first)
    Workshop.objects.update(demo=True)
    answer = clerk.post(
        page_of(case, "case-send"), said(letters=[letter.pk], way="email")
    )
    assert answer.status_code == 422
    assert "A demo writes to nobody" in words_of(answer)
    assert mail.outbox == []
    assert not LetterSent.objects.exists()


@contextmanager
def smtp_server() -> Iterator[tuple[int, list[bytes]]]:
    """A server that takes e-mail as RFC 5321 says, and keeps what it took."""
    took: list[bytes] = []

    async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        def answer(line: str) -> None:
            writer.write(f"{line}\r\n".encode())

        answer("220 mail.example")
        while line := await reader.readline():
            verb = line[:4].upper()
            if verb == b"DATA":
                answer("354 go on")
                took.append(await reader.readuntil(b"\r\n.\r\n"))
            answer("221 bye" if verb == b"QUIT" else "250 mail.example")
            await writer.drain()
            if verb == b"QUIT":
                break
        writer.close()

    # A loop of its own in a thread of its own: a test before this one may have left one.
    loop, there = asyncio.new_event_loop(), Queue[int]()

    async def serve() -> None:
        async with await asyncio.start_server(talk, "127.0.0.1", 0) as server:
            there.put(server.sockets[0].getsockname()[1])
            await over.wait()

    over = asyncio.Event()
    thread = Thread(target=loop.run_until_complete, args=[serve()], daemon=True)
    thread.start()
    try:
        yield there.get(timeout=PATIENCE_S), took
    finally:
        loop.call_soon_threadsafe(over.set)
        thread.join()
        loop.close()


def test_a_server_takes_the_letter(clerk: Client, server: Any) -> None:
    case, first, _second = two_at()
    [letter] = write(case, first)
    server.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    server.EMAIL_HOST = "127.0.0.1"
    with smtp_server() as (port, took):
        server.EMAIL_PORT = port
        key = said(letters=[letter.pk], way="email")
        clerk.post(page_of(case, "case-send"), key)
    [data] = took
    message = email.message_from_bytes(data, policy=policy.default)
    assert message["To"] == "stores@eskmoor.example"
    assert message["From"] == "recalls@harrow.example"
    assert message["Message-ID"].endswith("@harrow.example>")
    [paper] = message.iter_attachments()
    pdf = PdfReader(BytesIO(paper.get_content()))
    assert case.number in pdf.pages[0].extract_text().replace("\u202f", "")
    assert LetterSent.objects.get().fault == ""


def test_others_are_kept_out(
    client_for: Callable[[User], Client], clerk: Client
) -> None:
    case, first, _second = two_at()
    [letter] = write(case, first)
    packer = client_for(factories.make_person("packer"))
    pages = [
        page_of(case, name) for name in ("case-letters", "case-write", "case-send")
    ]
    pages.append(reverse("dispatch:letter", args=[letter.pk]))
    for page in pages:
        assert Client().get(page).status_code == 302
        assert packer.get(page).status_code == 403
    assert clerk.get(pages[1]).status_code == 403
    other = a_case(factories.make_labelled_box())
    assert clerk.get(page_of(other, "case-letters")).status_code == 404
    assert clerk.get(page_of(other, "case-send")).status_code == 404
    assert (
        clerk.get(reverse("dispatch:letter", args=[letter.pk + 1])).status_code == 404
    )
