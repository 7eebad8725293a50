"""The benchmarks are run on request alone: here it is only asked that each of them can be."""

from __future__ import annotations

import importlib
import sys
from pathlib import Path

import pytest

FOLDER = Path(__file__).parent / "benchmarks"
TEXTS = {path.stem: path.read_text("utf-8") for path in sorted(FOLDER.glob("*.py")) if path.stem != "__init__"}


@pytest.mark.parametrize("name", TEXTS)
def test_a_benchmark_can_be_started(
    name: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    module = importlib.import_module(f"tests.benchmarks.{name}")
    assert hasattr(module, "main") or not name.startswith("bench_")
    if "argparse" in TEXTS[name]:
        monkeypatch.setattr(sys, "argv", [name, "--help"])
        with pytest.raises(SystemExit) as ended:
            module.main()
        assert ended.value.code == 0 and "usage" in capsys.readouterr().out
