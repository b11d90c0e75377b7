"""``manage.py person NAME``: add a person, close an account, set a password anew."""

from __future__ import annotations

import getpass
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from kitting.domain.errors import LotwardError
from kitting.ledger import clock
from kitting.ledger.setup import ROLES
from kitting.management.signing import ask_who, signed
from kitting.people.services import accounts as services
from kitting.web.messages import sentence


class Command(BaseCommand):
    help = (
        "Add a person who may sign in, with the rights of one role, or give another one"
        " with --new-role; or close an account with --off and open it again with --on;"
        " or set a lost password anew with --new-password. The password is asked for twice and not shown."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", help="the name to sign in with")
        act = parser.add_mutually_exclusive_group(required=True)
        act.add_argument("--role", help=f"one of: {', '.join(ROLES)}")
        act.add_argument(
            "--new-role", help="one of the same, for somebody who is there"
        )
        act.add_argument("--off", action="store_true", help="close the account")
        act.add_argument("--on", action="store_true", help="open it again")
        act.add_argument(
            "--new-password", action="store_true", help="set the password anew"
        )
        parser.add_argument(
            "--password-file",
            help="a file whose first line is the password, instead of asking for it",
        )
        ask_who(parser)

    @clock.at_the_workshop()
    def handle(self, *args: Any, **options: Any) -> None:
        sign, name = signed(options), options["name"]
        try:
            if options["on"] or options["off"]:
                person = services.open_account(name=name, open=options["on"], sign=sign)
                state = "open" if person.open else "closed"
                self.stdout.write(f"The account of {name} is {state}.")
                return
            if options["new_role"]:
                role = options["new_role"]
                person = services.change_role(name=name, role=role, sign=sign)
                self.stdout.write(f"{person.name} works as {person.role} from now on.")
                return
            password = _password(options["password_file"])
            if options["new_password"]:
                services.set_password(name=name, password=password, sign=sign)
                self.stdout.write(f"The password of {name} is set anew.")
                return
            person = services.add_person(
                name=name, role=options["role"], password=password, sign=sign
            )
        except LotwardError as error:
            raise CommandError(sentence(error)) from error
        self.stdout.write(f"{person.name} may sign in as {person.role}.")


def _password(file: str | None) -> str:
    if file is not None:
        try:
            lines = Path(file).read_text("utf-8").splitlines()
        except (OSError, UnicodeDecodeError) as error:
            msg = f"{file} cannot be read as text. Name a file in UTF-8."
            raise CommandError(msg) from error
        return lines[0] if lines else ""
    first = getpass.getpass("Password: ")
    if getpass.getpass("The same again: ") != first:
        msg = "The two passwords differ. Nothing was written."
        raise CommandError(msg)
    return first
