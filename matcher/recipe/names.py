"""Names of chemicals, alloys and the like: which are one and the same, and what kind they are.

A name is kept and shown as it was typed; whatever compares two names compares their ``canonical`` forms. Other names
for a chemical are data, in `cautions.toml`.
"""

from __future__ import annotations

import tomllib
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

FILE = Path(__file__).with_name("cautions.toml")
_DASHES = str.maketrans(dict.fromkeys("-‐‑‒–—_", " "))


@lru_cache(maxsize=4096)
def canonical(name: str) -> str:
    """Return the one form of a name: that under which a chemical is listed, else the name without case and hyphens.

    >>> canonical("Ferric  Nitrate"), canonical("iron(III) nitrate"), canonical("Silicon-Bronze")
    ('ferric nitrate', 'ferric nitrate', 'silicon bronze')
    """
    listed = _listed_names().get(key(name))
    if listed is not None:
        return listed
    folded = unicodedata.normalize("NFKC", name).casefold()
    return " ".join(folded.translate(_DASHES).split()) or folded


def same(one: str, other: str) -> bool:
    """Tell whether two names, as they are typed, name the same thing."""
    return canonical(one) == canonical(other)


def is_ferric(chemical: str) -> bool:
    """Tell whether a chemical is a ferric salt, by any of its names."""
    return "ferric" in canonical(chemical)


def each_once(names: Iterable[str]) -> tuple[str, ...]:
    """Return names without those that say the same as an earlier one, as they were typed."""
    spelt: dict[str, str] = {}
    for name in names:
        spelt.setdefault(canonical(name), name)
    return tuple(spelt.values())


def key(name: str) -> str:
    """Make the ways of writing one listed name alike: case, spaces, hyphens and dots don't count."""
    folded = unicodedata.normalize("NFKC", name).casefold()
    return "".join(c for c in folded if c.isalnum() or c in "()")


def names_of(chemicals: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Yield each listed chemical with each name for it, from the chemicals of a file of cautions."""
    for name, item in chemicals.items():
        for alias in (name, *item.get("aliases", ())):
            yield name, alias


@lru_cache(maxsize=1)
def _listed_names() -> dict[str, str]:
    chemicals = tomllib.loads(FILE.read_text(encoding="utf-8"))["chemicals"]
    return {key(alias): name for name, alias in names_of(chemicals)}
