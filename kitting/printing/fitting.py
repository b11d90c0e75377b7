"""Whether every label has room, decided when what it says is set up.

Each room registers the longest labels that its rows can ever get. They are drawn on
every head in use, at the end of the act that touched what they rest on: a code, a name
or an address that some label could not carry is refused there, and not at a bench.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import astuple, dataclass, replace
from datetime import date
from functools import lru_cache, partial
from typing import TYPE_CHECKING, Any, Final, TypeAlias

from django.db.models import Model, QuerySet

from kitting.domain.errors import CodeError, LotwardError, Missing, NotFit, Refused
from kitting.labels.kinds import Kind
from kitting.labels.press import draw, press, try_on
from kitting.labels.pressed import Pressed
from kitting.labels.stock import Sheet, Stock
from kitting.ledger import upheld
from kitting.ledger.kept import Kept
from kitting.ledger.upheld import Rows
from kitting.models import Printer
from kitting.models import Stock as StockRow
from kitting.printing.queries.stocks import laid_out, of_kind

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

Faces: TypeAlias = Iterable[tuple[str, Any]]
"""What each label is of, as people know it, and the longest that it can be."""

LAST_DAY: Final = date(2026, 12, 31)
LAST_COPY: Final = 99
LONGEST_NUMBER: Final = "K9999999999999W"
"""As long as a number of ours can be."""

TEST_MARK: Final = "TEST – NOT FOR USE"

_PAPER: Final = (StockRow, Printer)


@dataclass(frozen=True)
class Longest:
    """The longest labels of one purpose."""

    name: str
    """As the print log names such labels."""

    kind: Kind[Any]
    words: _StrPromise
    """What one of them is called."""

    faces: Callable[[Rows], Faces]
    """Of the rows that were touched; of every row where none of them is named."""

    own: tuple[type[Model], ...]
    """Tables whose rows have such labels."""

    page: str
    """Address name of the page where what they say is changed."""

    shared: tuple[type[Model], ...] = ()
    """Tables of which something stands on the labels of every such row."""

    number: str = ""
    """What of a face would be taken for the thing itself if it were scanned."""


ALL: Final[list[Longest]] = []


def register(*longest: Longest) -> None:
    """Add the longest labels of a room; once, when it is loaded."""
    ALL.extend(longest)
    for one in longest:
        upheld.register(
            partial(faults, one),
            *one.own,
            *one.shared,
            *_PAPER,
        )


def _letters(said: Any) -> int:
    """Count the letters of whatever a label says."""
    if isinstance(said, tuple):
        return sum(map(_letters, said))
    return len(said) if isinstance(said, str) else 0


def longest_face(longest: Longest) -> tuple[str, Any]:
    """Give the label that says most of all there are.

    Args:
        longest: Of which purpose.

    Returns:
        What it is of, and the label.

    Raises:
        CodeError: What stops one of them from being composed.
        NotFit: As well.
        Refused: ``label_of_nothing`` while nothing has such a label.
    """
    faces = list(longest.faces({}))
    if not faces:
        raise Refused("label_of_nothing")
    return max(faces, key=lambda each: _letters(astuple(each[1])))


def as_test(longest: Longest, face: Any) -> Any:
    """Give a label as a test: marked, and without a number that is live.

    Args:
        longest: Of which purpose.
        face: What it says.

    Returns:
        The label.
    """
    if not longest.number:
        return replace(face, mark=TEST_MARK)
    live = len(getattr(face, longest.number))
    # No number, code or command has a stop in it.
    instead = f"TEST{'.' * live}"[: max(5, live)]
    return replace(face, mark=TEST_MARK, **{longest.number: instead})


def drawn_test(
    longest: Longest,
    face: Any,
    on: Stock | Sheet,
    how: Callable[..., Pressed] = draw,
) -> Pressed:
    """Draw a label as a test.

    Args:
        longest: Of which purpose.
        face: What it says.
        on: The paper and the printer's head.
        how: ``draw``, or ``press`` to read it back as well.

    Returns:
        The document.

    Raises:
        LotwardError: As in ``how``; ``test_has_no_room`` where it is the mark alone for
            which there is none.
    """
    try:
        return how(longest.kind, [as_test(longest, face)], on)
    except NotFit as error:
        try_on(longest.kind, face, on)
        raise NotFit("test_has_no_room") from error


def fault_of(longest: Longest) -> LotwardError | None:
    """Say what keeps the longest label from any head in use, read back as well.

    Args:
        longest: Of which purpose.

    Returns:
        The refusal, or None.
    """
    try:
        _of, face = longest_face(longest)
        for head in heads_for(longest.kind):
            press(longest.kind, [face], head)
    except LotwardError as error:
        return error
    return None


def longest_of(name: str) -> Longest:
    """Give the longest labels of a purpose.

    Args:
        name: As the print log names them.

    Returns:
        How the longest of them are found.

    Raises:
        Missing: If there are none of that name.
    """
    for one in ALL:
        if one.name == name:
            return one
    raise Missing("row_missing", what="label")


def those(rows: QuerySet[Any], touched: Rows) -> QuerySet[Any]:
    """Give the rows of a table that are named, or all where none is."""
    ids = touched.get(rows.model)
    return rows if ids is None else rows.filter(pk__in=ids)


def faults(longest: Longest, touched: Rows) -> Iterator[LotwardError]:
    """Draw the longest labels on every head in use.

    Paper or a printer with a head that others have as well asks for nothing: whatever
    there is was drawn on it.

    Args:
        longest: Which.
        touched: Rows that changed.

    Yields:
        ``label_would_not_fit`` for each label, on the first head that has no room; what
        stops one from being composed.
    """
    every = not touched.keys().isdisjoint(longest.shared) or _is_new(
        longest.kind, touched
    )
    if not every and touched.keys().isdisjoint(longest.own):
        return
    named = {} if every else {model: touched.get(model, set()) for model in longest.own}
    try:
        faces = list(longest.faces(named))
    except (CodeError, NotFit) as error:
        yield error
        return
    heads = heads_for(longest.kind) if faces else []
    for of, face in faces:
        for head in heads:
            why = _no_room(longest.kind, face, head)
            if why is not None:
                yield NotFit(
                    "label_would_not_fit",
                    label=str(longest.words),
                    of=of,
                    dpi=round(float(head.dots_per_inch)),
                    why=why,
                )
                break


def faults_of(touched: Rows) -> list[LotwardError]:
    """Say of rows what an act would be refused with that touched them now.

    Args:
        touched: The rows.

    Returns:
        As ``faults``, of every label that is theirs.
    """
    theirs = (one for one in ALL if not touched.keys().isdisjoint(one.own))
    return [fault for longest in theirs for fault in faults(longest, touched)]


@lru_cache(maxsize=1024)
def _no_room(kind: Kind[Any], face: Any, head: Stock) -> LotwardError | None:
    """What keeps a label off a head; most acts ask of labels that others asked of."""
    try:
        try_on(kind, face, head)
    except (CodeError, NotFit) as error:
        return error.with_traceback(None)
    return None


_STOCKS: Final = Kept(lambda: StockRow.objects.filter(active=True))
_PRINTERS: Final = Kept(
    lambda: Printer.objects.filter(active=True).select_related("stock")
)


def heads_for(kind: Kind[Any]) -> list[Stock]:
    """Labels of a kind on every head that may print them, coarsest first.

    Args:
        kind: The kind.

    Returns:
        Its own size on the head of each stock and printer in use that has room for it,
        and on that of a PDF.
    """
    return sorted(_heads(kind, {}), key=lambda label: label.dots_per_mm)


def _is_new(kind: Kind[Any], touched: Rows) -> bool:
    """Whether only what was touched has some head, if paper or a printer was."""
    if touched.keys().isdisjoint(_PAPER):
        return False
    return not all(_heads(kind, touched).values())


def _heads(kind: Kind[Any], touched: Rows) -> dict[Stock, bool]:
    """Heads as in ``heads_for``, and whether anything has one that was not touched."""
    stocks, printers = touched.get(StockRow, set()), touched.get(Printer, set())
    laid = [(of_kind(kind), True)]
    laid += [(laid_out(row), row.pk not in stocks) for row in _STOCKS()]
    for printer in _PRINTERS():
        head = (printer.head_dots, printer.head_um)
        stands = printer.pk not in printers and printer.stock_id not in stocks
        laid.append((laid_out(printer.stock, head=head), stands))
    found: dict[Stock, bool] = {}
    for one, stands in laid:
        with suppress(NotFit):
            label = kind.on(one.on).label
            found[label] = stands or found.get(label, False)
    return found
