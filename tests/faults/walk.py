"""Going through every kind of act there is, while something goes wrong around each.

Acts are found, not listed: whatever function of the product takes a ``Sign`` stands for
one, with the first of its calls in the history of ``everything.py``. Around that call
something goes wrong; what it left is looked at, and the client sends the same again,
under the same key, until it is answered. Then it sends it once more: its answer was lost.
"""

from __future__ import annotations

import inspect
import json
import os
import signal
import sys
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass, field, is_dataclass, replace
from datetime import timedelta
from functools import cached_property, wraps
from pathlib import Path
from threading import Timer
from types import FunctionType
from typing import Any
from uuid import UUID

import pytest
from django.db import DatabaseError, OperationalError, connection, connections
from django.utils import timezone

from kitting.domain.errors import LotwardError
from kitting.ledger import failing, operations
from kitting.ledger.operations import Sign
from kitting.models import JournalHead, Link, Operation
from tests import factories
from tests.faults import everything
from tests.patience import PATIENCE_S, until
from tests.trees import PACKAGES

GIVEN_ONCE = "badge_made_already"
"""A badge's token is in memory alone: sent again it is answered by this sentence."""


@dataclass
class Call:
    """A call of a service."""

    service: Callable[..., Any]
    bound: inspect.BoundArguments

    @cached_property
    def kind(self) -> str:
        """Which kind of act it is; one that has no service is known by its name."""
        named = self.service.__name__
        if named == operations.perform.__name__:
            named = self.bound.arguments["name"]
        return f"{self.service.__module__}.{named}"

    @property
    def sign(self) -> Sign:
        found: Sign = self.bound.arguments["sign"]
        return found

    def do(self) -> Any:
        return self.service(*self.bound.args, **self.bound.kwargs)

    def signed(self, sign: Sign) -> Call:
        """The same, but signed otherwise."""
        args = inspect.BoundArguments(
            self.bound.signature, self.bound.arguments | {"sign": sign}
        )
        return Call(self.service, args)

    def on_record(self) -> int:
        """How many acts there are under its key; each with its link, or it is half."""
        acts = Operation.objects.filter(key=self.sign.key.bytes)
        links = acts.values_list("link", flat=True)
        assert None not in links
        return len(links)


def plain(outcome: Any) -> str:
    """An outcome as the journal keeps it, in which a word of a list is a word."""
    return json.dumps(
        outcome, default=lambda x: asdict(x) if is_dataclass(x) else str(x)
    )


def answer(call: Call) -> str:
    """What a client is told, in one line."""
    try:
        return plain(call.do())
    except LotwardError as error:
        return error.code


Harm = Callable[[Call], None]


@dataclass
class Walk:
    """What was done, and what was answered."""

    harm: Harm
    met: dict[str, UUID] = field(default_factory=dict)
    """By kind of act the key of the call around which something went wrong."""
    answered: set[bytes] = field(default_factory=set)
    inside: bool = False

    def goes(self, service: Callable[..., Any], *args: Any, **values: Any) -> Any:
        if self.inside:
            return service(*args, **values)
        bound = inspect.signature(service).bind(*args, **values)
        call = Call(service, bound)
        self.inside = True
        try:
            return self._sends(call)
        finally:
            self.inside = False

    def _sends(self, call: Call) -> Any:
        if call.kind in self.met:
            outcome = call.do()
        else:
            self.met[call.kind] = call.sign.key
            self.harm(call)
            assert call.on_record() <= 1
            outcome = self._until_answered(call)
        self.answered.add(call.sign.key.bytes)
        return outcome

    def _until_answered(self, call: Call) -> Any:
        try:
            first = call.do()
        finally:
            if call.on_record():  # a badge's token was lost with the answer
                self.answered.add(call.sign.key.bytes)
        assert answer(call) in {plain(first), GIVEN_ONCE}, call.kind
        assert call.on_record() == 1, call.kind
        return first


def services() -> Iterator[FunctionType]:
    """Every function of the product that does an act for somebody who signs it."""
    for name, module in sorted(sys.modules.items()):
        if name.split(".")[0] not in PACKAGES:
            continue
        for found in vars(module).values():
            if (
                inspect.isfunction(found)
                and found.__module__ == name
                and "sign" in inspect.signature(found).parameters
                and not found.__name__.startswith("_")
                and found is not operations.outcome_of
            ):
                yield found


def _instead(service: FunctionType, walk: Walk) -> Callable[..., Any]:
    @wraps(service)
    def instead(*args: Any, **values: Any) -> Any:
        return walk.goes(service, *args, **values)

    return instead


@contextmanager
def walking(harm: Harm) -> Iterator[Walk]:
    """Let everybody who calls a service, in product and tests, be this walk's client."""
    walk = Walk(harm)
    with pytest.MonkeyPatch.context() as patch:
        insteads = {service: _instead(service, walk) for service in services()}
        for module in list(sys.modules.values()):
            if not getattr(module, "__name__", "").startswith((*PACKAGES, "tests.")):
                continue
            for name, found in list(vars(module).items()):
                if inspect.isfunction(found) and found in insteads:
                    patch.setattr(module, name, insteads[found])
        yield walk


def walk_through(harm: Harm) -> Walk:
    """Do everything, with this going wrong around the first act of each kind.

    Afterwards nothing that was answered is lost, and nothing is there twice or unasked.
    """
    with walking(harm) as walk:
        everything.do_everything()
    kept = [bytes(key) for key in Operation.objects.values_list("key", flat=True)]
    assert len(kept) == len(set(kept))
    assert set(kept) == walk.answered
    assert Link.objects.count() == len(kept)
    return walk


# -- What goes wrong ----------------------------------------------------------------


def forked(*works: Callable[[], object]) -> None:
    """Let each be done by a server of its own that is killed then, if not before."""
    connections.close_all()
    ends = [_end_of(child) for child in [_fork(work) for work in works]]
    assert set(ends) == {signal.SIGKILL}
    assert until(_is_there)


def _end_of(child: int) -> int:
    """The signal that ended it; one that hangs is aborted, and says where it was."""
    abort = Timer(PATIENCE_S, os.kill, (child, signal.SIGABRT))
    abort.start()
    try:
        return os.WTERMSIG(os.waitpid(child, 0)[1])
    finally:
        abort.cancel()


def _is_there() -> bool:
    """Whether the database answers; one that was killed recovers first."""
    try:
        connection.ensure_connection()
    except OperationalError:
        return False
    return True


def _fork(work: Callable[[], object]) -> int:
    with warnings.catch_warnings():
        # A printer of the tests' is a thread of this process; the other one needs none.
        warnings.simplefilter("ignore", DeprecationWarning)
        child = os.fork()
    if child == 0:
        try:
            # Where a browser's loop runs in this thread, connections are kept apart for
            # it; the child runs none, and would find an older one to another database.
            with suppress(AttributeError):
                del connections["default"]
            work()
        finally:
            die()
    return child


@dataclass
class At:
    """Does something at a moment; each statement begins at one and ends at another."""

    left: int
    what: Callable[[], object]
    among: str = ""
    """Only statements that begin so have moments."""

    def __call__(
        self, execute: Any, sql: str, params: Any, many: bool, context: Any
    ) -> Any:
        self._passes(sql)
        result = execute(sql, params, many, context)
        self._passes(sql)
        return result

    def _passes(self, sql: str) -> None:
        self.left -= sql.startswith(self.among)
        if not self.left:
            self.what()


def moments(stride: int, most: int) -> range:
    """Those to be killed at: each of them, or some from the second on."""
    return range(1 + 1 % stride, most, stride)


def die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def kill_the_database() -> None:
    """PostgreSQL then ends every session, and recovers as after a cut of its power."""
    session = connection.connection.info.backend_pid
    os.kill(session, signal.SIGKILL)
    assert until(lambda: not Path(f"/proc/{session}").exists())


def killed_after(call: Call, statements: int, what: Callable[[], object] = die) -> int:
    """Let a server or its database be killed in an act.

    Returns:
        How many acts are on record then.
    """

    def serve() -> None:
        with connection.execute_wrapper(At(2 * statements, what)):
            call.do()

    forked(serve)
    return call.on_record()


def unanswered(call: Call, what: Callable[[], object]) -> int:
    """As ``killed_after``, but when all of it was done."""

    def serve() -> None:
        call.do()
        what()

    forked(serve)
    return call.on_record()


def by_two_servers(call: Call) -> None:
    """Let two servers of one database be sent the same at once; their answers are lost."""
    reads, writes = os.pipe()

    def serve() -> None:
        os.write(writes, f"{answer(call)[:2_000]}\n".encode())

    forked(serve, serve)
    os.close(writes)
    with os.fdopen(reads) as file:
        said = set(file.read().splitlines())
    assert len(said - {GIVEN_ONCE}) == 1, (call.kind, said)
    assert call.on_record() == 1, (call.kind, said)


def by_a_clock_set_back(call: Call) -> None:
    """Refused with a sentence; nothing of it stays."""
    if JournalHead.objects.get().seq == 0:  # nothing that it could lie before
        return
    early = call.signed(replace(call.sign, now=None))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(timezone, "now", lambda: factories.NOW - timedelta(days=330))
        with pytest.raises(LotwardError) as caught:
            early.do()
    assert caught.value.code == "clock_set_back", call.kind
    assert call.on_record() == 0


def on_a_full_disk(disk: Path, *, always: bool) -> Harm:
    """Refused with a sentence; nothing of it stays.

    Args:
        disk: A small file system on which the database is.
        always: Whether it has no room of its own in which an act may still be done.
    """

    def harm(call: Call) -> None:
        connections.close_all()
        filler = disk / "fill"
        with filler.open("wb", buffering=0) as file, suppress(OSError):
            while file.write(bytes(1 << 20)):
                pass
            while file.write(bytes(1 << 12)):
                pass
        try:
            said = _failure(call)
            done = not always and said == "not at all"
            assert done or said == "database_full", (call.kind, said)
            assert call.on_record() == done, call.kind
        finally:
            filler.unlink()
            connections.close_all()  # as the server does after each request

    return harm


def _failure(call: Call) -> str:
    """Why it failed; the server lets go of it as well."""
    try:
        call.do()
    except (DatabaseError, OSError) as error:
        failing.let_go(error)
        refused = failing.why(error)
        return refused.code if refused else repr(error)
    return "not at all"
