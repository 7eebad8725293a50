"""What a command has to say, once as plain JSON types and once in lines for a person; a file that it writes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from matcher.cli_values import TypingError


@dataclass(frozen=True)
class Answer:
    """What a command has to say: plain JSON types, and lines for a person."""

    document: dict[str, Any]
    lines: Sequence[str]


def write(path: str, data: bytes) -> None:
    """Write a file that a command was asked for. Raises TypingError."""
    try:
        Path(path).write_bytes(data)
    except OSError as error:
        raise TypingError(f"{path} cannot be written ({error.strerror}): choose another place.") from error
