"""What a fit leaves over near a colour: a Gaussian process over CIELAB, learned from references of known colour.

A camera errs alike in like colours: what a chart's patches (or any colours that are known) show of that corrects a
colour between them, and tells how surely. Before ``profile``; ``profile_fit`` learns one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from matcher.colour.types import Floats
from matcher.errors import Misfit

LENGTH_SCALE = 20.0
"""Of CIELAB, within which errors are alike. Tried on real charts, each patch read from the others."""
CHROMA_SHARE = 0.06
"""By which errors in a* and b* grow with chroma; the eye's tolerance does by 0.045 (S_C of ISO/CIE 11664-6). Tried on
real charts and clean simulated ones."""
AT_ONCE = 65536  # colours; a picture's pixels are worked through in pieces


@dataclass(frozen=True, eq=False)
class LocalError:
    """A Gaussian process on each of L*, a*, b*, conditioned on references (Rasmussen and Williams 2006, chapter 2).

    references: (n, 3) CIELAB of what is known. residuals: (n, 3), known minus fitted. amplitude: (3,), how far
    errors that are alike for like colours go. nugget: (3,), what each surface has of its own, whatever its colour. Both
    are standard deviations at a grey, and grow with chroma as ``scale_at`` says.
    """

    references: Floats
    residuals: Floats
    amplitude: Floats
    nugget: Floats

    @classmethod
    def unlearned(cls, errors: Floats) -> LocalError:
        """Return one that corrects nothing and expects errors as large as these (n, 3) anywhere."""
        nothing = np.zeros((0, 3))
        return cls(nothing, nothing, np.sqrt(np.mean(np.square(errors), axis=0)), np.zeros(3))

    def correction(self, lab: ArrayLike) -> Floats:
        """Return what to add to fitted CIELAB (..., 3)."""
        wanted = np.asarray(lab, dtype=float)
        if not len(self.references):
            return np.zeros_like(wanted)
        flat = wanted.reshape(-1, 3)
        pieces = [flat[start : start + AT_ONCE] for start in range(0, len(flat), AT_ONCE)]
        found = [kernel(piece, self.references) @ self._weights * scale_at(piece) for piece in pieces]
        return np.concatenate(found).reshape(wanted.shape) if found else np.zeros_like(wanted)

    def covariance(self, lab: ArrayLike) -> Floats:
        """Return the covariance (3, 3) of what is left at one CIELAB (3,) after the correction."""
        here = np.asarray(lab, dtype=float)
        left = np.maximum(self.alike(here[None], here[None])[:, 0, 0], 0.0)
        return np.asarray(np.diag(left) + self.own(here))

    def alike(self, labs: Floats, others: Floats) -> Floats:
        """Return the covariance (3, m, n), by L*, a*, b*, of what is left that is alike for like colours: at CIELAB
        (m, 3) and (n, 3)."""
        ours, theirs = (
            kernel(colours, self.references) * scale_at(self.references).T[:, None] for colours in (labs, others)
        )
        told = np.einsum("cmi,cij,cnj->cmn", ours, self._precision, theirs) * (self.amplitude**4)[:, None, None]
        left = (self.amplitude**2)[:, None, None] * kernel(labs, others) - told
        return np.asarray(left * scale_at(labs).T[:, :, None] * scale_at(others).T[:, None])

    def own(self, lab: Floats) -> Floats:
        """Return the covariance (3, 3) of what a surface of CIELAB (3,) has of its own."""
        return np.asarray(np.diag(np.square(self.nugget * scale_at(lab))))

    def moved(self, shift: Floats) -> LocalError:
        """Return this with its residuals moved by shift (n, 3)."""
        return replace(self, residuals=self.residuals + shift)

    @cached_property
    def _precision(self) -> Floats:
        """(3, n, n): the inverse of the residuals' covariance, by L*, a*, b*."""
        return np.asarray(np.linalg.inv(covariance_between(self.references, self.amplitude, self.nugget)))

    @cached_property
    def _weights(self) -> Floats:
        """(n, 3): what each reference adds where it is near, for errors as large as at a grey."""
        told = np.einsum("cij,jc->ic", self._precision, self.residuals)
        return np.asarray(told * scale_at(self.references) * self.amplitude**2)

    def as_dict(self) -> dict[str, Any]:
        names = ("references", "residuals", "amplitude", "nugget")
        return {name: getattr(self, name).tolist() for name in names}

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> LocalError:
        """Take back what ``as_dict`` gave. Raises KeyError, ValueError or Misfit for anything else."""
        references, residuals = (
            np.array(data[name], dtype=float).reshape(-1, 3) for name in ("references", "residuals")
        )
        amplitude, nugget = (np.array(data[name], dtype=float) for name in ("amplitude", "nugget"))
        tables = (references, residuals, amplitude, nugget)
        right = references.shape == residuals.shape and amplitude.shape == nugget.shape == (3,)
        if not right or not all(np.isfinite(table).all() and np.abs(table).max(initial=0) < 300 for table in tables):
            raise Misfit("a table of its local errors has the wrong shape or is far out of range")
        if len(references) and nugget.min() < 1e-3:
            raise Misfit("its local errors are too sure of themselves")
        return cls(references, residuals, amplitude, nugget)


def kernel(first: Floats, second: Floats) -> Floats:
    """Return (m, n), 1 to 0: the squared-exponential kernel between CIELAB (m, 3) and (n, 3)."""
    away = np.square(first).sum(axis=1)[:, None] + np.square(second).sum(axis=1) - 2 * first @ second.T
    return np.asarray(np.exp(-np.maximum(away, 0.0) / (2 * LENGTH_SCALE**2)))


def covariance_between(references: Floats, amplitude: Floats, nugget: Floats) -> Floats:
    """Return the covariance (3, n, n) of residuals at references (n, 3), by L*, a*, b*."""
    near, scale = kernel(references, references), scale_at(references).T
    sizes = amplitude[:, None, None] ** 2 * near + nugget[:, None, None] ** 2 * np.eye(len(references))
    return np.asarray(sizes * scale[:, :, None] * scale[:, None, :])


def scale_at(lab: Floats) -> Floats:
    """Return (..., 3), how large errors in L*, a*, b* are at CIELAB (..., 3), in parts of those at a grey."""
    scale = np.ones(np.shape(lab))
    scale[..., 1:] += CHROMA_SHARE * np.hypot(lab[..., 1], lab[..., 2])[..., None]
    return scale
