"""Parameters by name, and how a layered curve changes with each of them. Beneath the process model's mean function.

A block of parameters is shared by all recipes, or has an entry to each category; a curve reads the sum of both. So the
curve is differenced over the few numbers that it reads, not over every category's parameters.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from matcher.colour.types import Floats
from matcher.process.design import Places

STEP = 1e-4
"""Of forward differences; most parameters are logarithms."""


@dataclass(frozen=True)
class Block:
    """Where parameters of one name stand among the p, and their shape."""

    place: slice
    shape: tuple[int, ...]


class Reader:
    """Reads blocks out of parameters (..., p), so that they broadcast over n recipes."""

    def __init__(self, values: Floats, blocks: dict[str, Block]) -> None:
        self._values, self._blocks = values, blocks

    def __call__(self, shared: str | None, own: str | None = None, places: Places | None = None) -> Floats:
        """Return (..., n) or (..., n, k), with 1 for n where it is the same for all.

        shared: the block that all recipes have. own: the block with one entry to a category, at places (n,); its entry
        is added.
        """
        parts = [self._block(name, at) for name, at in ((shared, None), (own, places)) if name is not None]
        return parts[0] if len(parts) == 1 else parts[0] + parts[1]

    def _block(self, name: str, places: Places | None) -> Floats:
        block, many = self._blocks[name], self._values.shape[:-1]
        values = self._values[..., block.place]
        if places is None:
            return values.reshape(*many, 1, *block.shape)
        return values.reshape(many + block.shape).take(places, len(many))


class _Noting(Reader):
    """Reads, and notes of every number which parameters it is the sum of: for each, one place or one per recipe."""

    def __init__(self, values: Floats, blocks: dict[str, Block]) -> None:
        super().__init__(values, blocks)
        self.sums: list[list[Places | int]] = []

    def __call__(self, shared: str | None, own: str | None = None, places: Places | None = None) -> Floats:
        entry = self._blocks[shared].shape if shared is not None else self._blocks[str(own)].shape[1:]
        for k in range(math.prod(entry)):
            parts: list[Places | int] = []
            if shared is not None:
                parts.append(self._blocks[shared].place.start + k)
            if own is not None and places is not None:
                block = self._blocks[own]
                parts.append(block.place.start + (places % block.shape[0]) * math.prod(entry) + k)
            self.sums.append(parts)
        return super().__call__(shared, own, places)


class _Moved(Reader):
    """Reads with every number moved by a step in turn: one sheet of the answer to each, in the order of reading."""

    def __init__(self, values: Floats, blocks: dict[str, Block], sheets: int) -> None:
        super().__init__(values, blocks)
        self._sheets, self._next = sheets, 0

    def __call__(self, shared: str | None, own: str | None = None, places: Places | None = None) -> Floats:
        still = super().__call__(shared, own, places)
        moved = np.repeat(still[None], self._sheets, axis=0)
        columns = moved.reshape(*moved.shape[:2], -1)  # (sheets, n or 1, k)
        for k in range(columns.shape[2]):
            columns[self._next + k, :, k] += STEP
        self._next += columns.shape[2]
        return moved


class Derivatives:
    """How n recipes' bands change with every number that the layers have read so far."""

    def __init__(self, parameters: Floats, blocks: dict[str, Block], many: int) -> None:
        self._parameters, self._blocks = parameters, blocks
        self._sheets: Floats = np.zeros((0, many, 3))
        self._sums: list[list[Places | int]] = []

    def of(self, layer: Callable[[Reader], Floats]) -> Floats:
        """Add what a layer reads itself; return its values (n, 3)."""
        noting = _Noting(self._parameters, self._blocks)
        value = layer(noting)
        own = (layer(_Moved(self._parameters, self._blocks, len(noting.sums))) - value) / STEP
        self._sheets = np.concatenate([self._sheets, own])
        self._sums += noting.sums
        return value

    def through(self, factor: Floats) -> None:
        """Let the derivatives so far through a layer above: factor (n, 3)."""
        self._sheets *= factor

    def by_parameter(self, bend: Floats) -> Floats:
        """Return the derivatives (n, 3, p) of what changes with the bands by ``bend`` (n, 3 bands, 3)."""
        many = self._sheets.shape[1]
        jacobian, row = np.zeros((self._parameters.size, many, 3)), np.arange(many)
        bent = np.einsum("snb,nbl->snl", self._sheets, bend)
        for sheet, parts in zip(bent, self._sums, strict=True):
            for place in parts:
                if isinstance(place, int):
                    jacobian[place] += sheet
                else:
                    jacobian[place, row] += sheet
        return np.moveaxis(jacobian, 0, -1)
