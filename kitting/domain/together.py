"""Which revisions fill a recipe's lines, and which of them go together in one box."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations


@dataclass(frozen=True)
class Together:
    """What a recipe takes, by numbers of lines and revisions."""

    takes: Mapping[int, Sequence[int]]
    """The revisions of each line, the preferred first; none is of two lines."""
    only: Mapping[int, Collection[int]]
    """Of a revision, those beside which alone it goes: of each line that one of them
    is of, it goes with no other. A revision that is not named goes with all."""

    @cached_property
    def _lines(self) -> dict[int, int]:
        return {one: line for line, taken in self.takes.items() for one in taken}

    @property
    def revisions(self) -> Collection[int]:
        """Every revision that a line takes."""
        return self._lines.keys()

    def line_of(self, revision: int) -> int | None:
        """The line that takes a revision, if one does."""
        return self._lines.get(revision)

    def goes(self, one: int, other: int) -> bool:
        """Whether two revisions may lie in one box."""
        return self._bears(one, other) and self._bears(other, one)

    def _bears(self, one: int, other: int) -> bool:
        line = self.line_of(other)
        wanted = {each for each in self.only.get(one, ()) if self.line_of(each) == line}
        return not wanted or other in wanted

    def apart(self, inside: Collection[int]) -> list[tuple[int, int]]:
        """Which two by two of these revisions may not lie in one box.

        Args:
            inside: The revisions.

        Returns:
            The pairs; none where no pair is named, which is the usual case.
        """
        if not self.only:
            return []
        return [
            pair for pair in combinations(sorted(inside), 2) if not self.goes(*pair)
        ]

    def completes(self, inside: Collection[int]) -> bool:
        """Whether a box with these revisions in it can be filled to the end.

        Args:
            inside: Revisions that lie in it together.

        Returns:
            True where every line has one that goes with all the others.
        """
        if self.apart(inside):
            return False
        have = {self.line_of(each) for each in inside}
        named = {*self.only, *(one for every in self.only.values() for one in every)}
        # A line of which nothing is named can be filled whatever lies in the box.
        open_lines = [
            taken
            for line, taken in self.takes.items()
            if line not in have and not named.isdisjoint(taken)
        ]
        return self._fills(list(inside), open_lines)

    def _fills(self, inside: list[int], lines: list[Sequence[int]]) -> bool:
        if not lines:
            return True
        return any(
            all(self.goes(one, each) for each in inside)
            and self._fills([*inside, one], lines[1:])
            for one in lines[0]
        )

    def fitting(self, line: int, inside: Collection[int]) -> list[int]:
        """What a line still takes beside what lies in the box.

        Args:
            line: The line.
            inside: Revisions that lie in the box.

        Returns:
            Its revisions with which the box can be filled to the end, in their order.
        """
        taken = self.takes[line]
        if not self.only:
            return list(taken)
        return [one for one in taken if self.completes({*inside, one})]
