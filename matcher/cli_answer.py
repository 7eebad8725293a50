"""What a command has to say, once as plain JSON types and once in lines for a person."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Answer:
    """What a command has to say: plain JSON types, and lines for a person."""

    document: dict[str, Any]
    lines: Sequence[str]
