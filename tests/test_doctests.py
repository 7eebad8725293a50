"""The examples in docstrings are run: what a docstring shows is what comes out."""

from __future__ import annotations

import doctest
import importlib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
WITH_EXAMPLES = sorted(
    ".".join(file.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
    for file in (ROOT / "matcher").rglob("*.py")
    if ">>> " in file.read_text(encoding="utf-8")
)


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_the_examples_of_a_module_come_out_as_shown(name: str) -> None:
    result = doctest.testmod(importlib.import_module(name), optionflags=doctest.ELLIPSIS)
    assert result.attempted and not result.failed
