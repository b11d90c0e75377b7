"""Short checks: what was done since the newest link that a proof put on file.

A whole proof reads everything. This one reads the acts since then, the rows that they
left, and whatever they moved or gave another stage: little enough for every hour.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from typing import Final

from kitting.domain.errors import Missing
from kitting.ledger import locking
from kitting.ledger.proof import chain, heads, seals
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import batched
from kitting.models import Guarded, Link

Named = tuple[type[Guarded], str]
"""A guarded table, and its column that names what it changed."""
Check = Callable[[Tally, Collection[int]], None]

NEWEST: Final[list[tuple[str, str, Check, tuple[Named, ...]]]] = []
"""Name, what it counts, the check of some rows, and what names those."""


def register_newest(name: str, of: str, check: Check, *named: Named) -> None:
    """Add what a room checks of the things that the newest acts changed.

    Args:
        name: As of the whole check.
        of: What it counts.
        check: Checks the rows of these ids alone.
        *named: What names them.
    """
    NEWEST.append((name, of, check, named))


def since() -> list[heads.Head]:
    """The newest head on file of each site.

    Raises:
        Missing: ``nothing_proved`` if there is none.
    """
    newest: dict[int, heads.Head] = {}
    left = heads.left_behind()
    lines = [line for line in heads.lines(heads.path()) if line not in left]
    for head in filter(None, map(heads.read, lines)):
        if head.site not in newest or newest[head.site].seq < head.seq:
            newest[head.site] = head
    if not newest:
        raise Missing("nothing_proved")
    return [newest[site] for site in sorted(newest)]


def tallies(
    since: Sequence[heads.Head], on_paper: Sequence[heads.Head] = ()
) -> tuple[tuple[Tally, ...], tuple[heads.Head, ...]]:
    """Check all that was done since some heads, on one snapshot.

    Args:
        since: Heads on file, one of each site.
        on_paper: Heads that somebody has on paper.

    Returns:
        A tally of each check, and the newest heads.
    """
    known = heads.looked_up([str(head) for head in since]), heads.expecting(on_paper)
    with known[0], known[1], locking.snapshot():
        anchored = [
            _tally("recorded heads", "heads", heads.recorded),
            _tally("file of heads", "files", heads.on_file),
            _tally("heads on paper", "heads", heads.expected),
        ]
        if anchored[0].faults:  # There is nothing to go on from.
            return tuple(anchored), ()
        begin = [Link.objects.get(site=head.site, seq=head.seq) for head in since]
        return (*anchored, *_since(begin)), tuple(heads.current())


def _tally(name: str, of: str, check: Callable[[Tally], object]) -> Tally:
    tally = Tally(name, of)
    check(tally)
    return tally


def _since(begin: list[Link]) -> Iterator[Tally]:
    # Links are made one after the other, of all sites.
    link = min(each.pk for each in begin)
    operation = min(each.operation_id for each in begin)
    yield _tally("chain", "links", lambda to: chain.links_since(to, begin))
    yield _tally("operations", "operations", lambda to: chain.operations(to, operation))
    yield _tally("keyed links", "links", lambda to: chain.keyed(to, link))
    yield _tally("seals", "rows", lambda to: seals.hold_since(to, link))
    for name, of, check, named in NEWEST:
        tally = Tally(name, of)
        for ids in batched(sorted(_named(named, link))):
            check(tally, ids)
        yield tally


def _named(named: Iterable[Named], link: int) -> set[int]:
    found: set[int] = set()
    for model, column in named:
        newer = model._default_manager.filter(operation__link__pk__gt=link)
        found.update(newer.order_by().values_list(column, flat=True).distinct())
    return found - {None}
