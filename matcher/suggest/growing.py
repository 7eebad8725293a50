"""Rows that are added to without copying those before: what a growing log shares with itself as it was before.

Each of these is a view of the first rows of one list or array; the next row goes behind them. Where two grow from the
same one, the second copies.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from threading import Lock
from typing import overload

import numpy as np

from matcher.colour.types import Floats
from matcher.process.logged import LoggedTrial

ROOM = 1024
_growing = Lock()


class Trials(Sequence[LoggedTrial]):
    """The first ``count`` of a list that may hold more, made later from these."""

    def __init__(self, kept: list[LoggedTrial], count: int | None = None) -> None:
        self._kept, self._count = kept, len(kept) if count is None else count

    def followed_by(self, trial: LoggedTrial) -> Trials:
        """Return these and one more; these stay as they are."""
        with _growing:
            kept = self._kept if len(self._kept) == self._count else self._kept[: self._count]
            kept.append(trial)
            return Trials(kept, self._count + 1)

    def __len__(self) -> int:
        return self._count

    def __iter__(self) -> Iterator[LoggedTrial]:
        return (self._kept[place] for place in range(self._count))

    def __eq__(self, other: object) -> bool:
        return list(self) == list(other) if isinstance(other, list | Trials) else NotImplemented

    __hash__ = None  # type: ignore[assignment]  # as of a list

    @overload
    def __getitem__(self, place: int) -> LoggedTrial: ...
    @overload
    def __getitem__(self, place: slice) -> list[LoggedTrial]: ...
    def __getitem__(self, place: int | slice) -> LoggedTrial | list[LoggedTrial]:
        if isinstance(place, slice):
            return [self._kept[k] for k in range(*place.indices(self._count))]
        return self._kept[range(self._count)[place]]


class Rows:
    """The first ``count`` rows (count, 3) of an array with room behind them."""

    def __init__(self, kept: Floats, count: int, taken: list[int]) -> None:
        self._kept, self._count, self._taken = kept, count, taken

    @classmethod
    def of(cls, values: Floats) -> Rows:
        return cls(values, len(values), [len(values)])

    @property
    def values(self) -> Floats:
        """The rows, without copying."""
        return self._kept[: self._count]

    def followed_by(self, more: Floats) -> Rows:
        """Return these and more; these stay as they are."""
        count = self._count + len(more)
        with _growing:
            kept, taken = self._kept, self._taken
            if taken[0] != self._count or count > len(kept):
                kept = np.concatenate([self.values, np.zeros((len(more) + ROOM + self._count // 4, 3))])
                taken = [self._count]
            kept[self._count : count] = more
            taken[0] = count
            return Rows(kept, count, taken)
