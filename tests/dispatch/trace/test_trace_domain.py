"""The balance against a workshop that is simulated piece by piece."""

from __future__ import annotations

import dataclasses
from collections import Counter

from hypothesis import given, settings
from hypothesis import strategies as st

from dispatch.domain.trace import BagCount, Balance, Line, Move, balance
from kitting.domain.stages import BOX_MOVES, IN_HOUSE, BoxStage, MovementKind

KINDS_OUT = [
    MovementKind.SAMPLED,
    MovementKind.MADE_INTO,
    MovementKind.SCRAPPED,
    MovementKind.MISSING,
]
LOTS = ["A", "B"]
BAGS = {1: "A", 2: "A", 3: "B", 4: "B"}
BOXES = [10, 11, 12]


@dataclasses.dataclass
class Piece:
    """One piece: how it came, and its bag, its box or its end."""

    lot: str
    bag: int
    came: MovementKind
    where: str
    box: int | None = None


class Workshop:
    """Moves single pieces about and writes down the rows that Lotward would."""

    def __init__(self) -> None:
        self.pieces: list[Piece] = []
        self.moves: list[Move] = []
        self.stages = dict.fromkeys(BOXES, BoxStage.OPEN)

    def write(self, bag, kind, pieces, delta, box=None) -> None:
        if pieces:
            self.moves.append(Move(BAGS[bag], bag, box, kind, pieces, delta))

    def inside(self, bag, where, box=None, count=None) -> list[Piece]:
        found = [
            piece
            for piece in self.pieces
            if (piece.bag, piece.where, piece.box) == (bag, where, box)
        ]
        return found[:count]

    def come(self, kind, bag, count) -> None:
        self.pieces += [Piece(BAGS[bag], bag, kind, "bag") for _ in range(count)]
        self.write(bag, kind, count, count)

    def never_came(self, kind, bag, count) -> None:
        gone = [one for one in self.inside(bag, "bag") if one.came == kind][:count]
        self.pieces = [one for one in self.pieces if not any(one is g for g in gone)]
        self.write(bag, kind, len(gone), -len(gone))

    def leave(self, kind, bag, count) -> None:
        gone = self.inside(bag, "bag", count=count)
        for piece in gone:
            piece.where = kind
        self.write(bag, kind, len(gone), -len(gone))

    def never_left(self, kind, bag, count) -> None:
        back = self.inside(bag, kind, count=count)
        for piece in back:
            piece.where = "bag"
        self.write(bag, kind, len(back), len(back))

    def pack(self, bag, box, count) -> None:
        if self.stages[box] is BoxStage.OPEN:
            packed = self.inside(bag, "bag", count=count)
            for piece in packed:
                piece.where, piece.box = "box", box
            self.write(bag, MovementKind.PACKED, len(packed), -len(packed), box)

    def undo(self, bag, box, count) -> None:
        if self.stages[box] is BoxStage.OPEN:
            back = self.inside(bag, "box", box, count)
            for piece in back:
                piece.where, piece.box = "bag", None
            self.write(bag, MovementKind.UNPACKED, len(back), len(back), box)

    def move_box(self, box, choice) -> None:
        ways = sorted(BOX_MOVES[self.stages[box]])
        if ways:
            self.stages[box] = ways[choice % len(ways)]
            if self.stages[box] is BoxStage.VOIDED:
                self.scrap_box(box)

    def send_box(self, box) -> None:
        if self.stages[box] in IN_HOUSE:
            self.stages[box] = BoxStage.SENT

    def scrap_box(self, box) -> None:
        for bag in BAGS:
            inside = self.inside(bag, "box", box)
            for piece in inside:
                piece.where = "voided"
            self.write(bag, MovementKind.SCRAPPED, len(inside), 0, box)

    def lines(self) -> list[Line]:
        """Give the lines of every box; those of a voided box stay as they were."""
        counts = Counter(
            (piece.box, piece.bag) for piece in self.pieces if piece.box is not None
        )
        return [
            Line(box, bag, BAGS[bag], None, count)
            for (box, bag), count in counts.items()
        ]

    def bag_counts(self) -> list[BagCount]:
        return [
            BagCount(bag, lot, len(self.inside(bag, "bag")))
            for bag, lot in BAGS.items()
        ]

    def counted(self, lot) -> Balance:
        """Count pieces one by one."""
        mine = [piece for piece in self.pieces if piece.lot == lot]
        came = Counter(piece.came for piece in mine)
        where = Counter(
            self.stages[piece.box].value if piece.where == "box" else piece.where
            for piece in mine
        )
        return Balance(
            unit="piece",
            received=came[MovementKind.RECEIVED],
            found=came[MovementKind.FOUND],
            in_bags=where["bag"],
            in_boxes=where["open"]
            + where["closed"]
            + where["labelled"]
            + where["loaded"],
            sent=where["sent"] + where["delivered"],
            returned=where["returned"],
            sampled=where["sampled"],
            made_into=where["made_into"],
            scrapped=where["scrapped"] + where["voided"],
            missing=where["missing"],
            difference=0,
        )


COUNTS = st.integers(0, 12)
ACTS = st.one_of(
    st.tuples(
        st.sampled_from(["come", "never_came"]),
        st.sampled_from([MovementKind.RECEIVED, MovementKind.FOUND]),
        st.sampled_from(list(BAGS)),
        COUNTS,
    ),
    st.tuples(
        st.sampled_from(["leave", "never_left"]),
        st.sampled_from(KINDS_OUT),
        st.sampled_from(list(BAGS)),
        COUNTS,
    ),
    st.tuples(
        st.sampled_from(["pack", "undo"]),
        st.sampled_from(list(BAGS)),
        st.sampled_from(BOXES),
        COUNTS,
    ),
    st.tuples(st.just("move_box"), st.sampled_from(BOXES), st.integers(0, 1)),
    st.tuples(st.just("send_box"), st.sampled_from(BOXES)),
)


@settings(max_examples=300, deadline=None)
@given(
    start=st.lists(st.integers(1, 30), min_size=4, max_size=4),
    acts=st.lists(ACTS, max_size=60),
)
def test_a_balance_is_what_counting_every_piece_gives(start, acts):
    workshop = Workshop()
    for bag, count in zip(BAGS, start, strict=True):
        workshop.come(MovementKind.RECEIVED, bag, count)
    for name, *figures in acts:
        getattr(workshop, name)(*figures)
    for lot in LOTS:
        found = balance(
            lot,
            workshop.moves,
            workshop.bag_counts(),
            workshop.lines(),
            workshop.stages,
        )
        assert found == workshop.counted(lot)


def small_history():
    """Give the rows of 100 pieces, 60 of them packed and sent, 10 scrapped."""
    moves = [
        Move("A", 1, None, MovementKind.RECEIVED, 100, 100),
        Move("A", 1, 7, MovementKind.PACKED, 60, -60),
        Move("A", 1, None, MovementKind.SCRAPPED, 10, -10),
        Move("B", 2, None, MovementKind.RECEIVED, 5, 5),
    ]
    bags = [BagCount(1, "A", 30), BagCount(2, "B", 5)]
    return moves, bags, [Line(7, 1, "A", 3, 60)], {7: BoxStage.SENT}


def test_a_balance_is_in_the_lots_own_unit():
    assert balance("A", *small_history(), unit="gram") == Balance(
        unit="gram",
        received=100,
        found=0,
        in_bags=30,
        in_boxes=0,
        sent=60,
        returned=0,
        sampled=0,
        made_into=0,
        scrapped=10,
        missing=0,
        difference=0,
    )


def test_a_lost_row_shows_as_the_difference():
    moves, bags, lines, stages = small_history()
    assert balance("A", moves[1:], bags, lines, stages).difference == -100
    assert balance("A", moves[:2], bags, lines, stages).difference == 10
    assert balance("A", moves, bags[1:], lines, stages).difference == 30
    assert balance("A", moves, bags, [], stages).difference == 60


def test_a_voided_box_whose_pieces_were_not_scrapped_shows_as_the_difference():
    moves, bags, lines, _ = small_history()
    found = balance("A", moves, bags, lines, {7: BoxStage.VOIDED})
    assert (found.sent, found.scrapped, found.difference) == (0, 10, 60)


def test_a_lot_without_rows_balances_at_nothing():
    found = balance("C", *small_history())
    assert not any(dataclasses.astuple(found)[1:])
