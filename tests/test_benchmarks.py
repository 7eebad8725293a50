"""The benchmarks are run on request alone: here it is only asked that each of them can be."""

from __future__ import annotations

import importlib
import sys
from pathlib import Path

import pytest

from tests.benchmarks import mutation_campaign

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


def test_the_campaign_refuses_a_room_that_it_does_not_know(monkeypatch, capsys):
    monkeypatch.setattr(sys, "argv", ["campaign", "--rooms", "colour,cellar"])
    with pytest.raises(SystemExit) as ended:
        mutation_campaign.main()
    said = capsys.readouterr().err
    assert ended.value.code == 2 and "'colour,cellar' does not name rooms: choose from colour, " in said


def test_the_campaign_finds_a_fault_again_wherever_its_line_stands_by_now(tmp_path, capsys):
    code = tmp_path / "area.py"
    code.write_text("def area(a, b):\n    return a * b\n\n\ndef ring(a, b):\n    return a * b - a\n\n\nSIDES = 3\n")
    every = [make() for make in mutation_campaign.mutants_of(code, "area.py")]
    kept = [mutant.as_dict() for mutant in every if mutant.what in ("a * b  ->  a / b", "3  ->  4")]
    assert [one["line"] for one in kept] == [2, 6, 9]
    code.write_text(
        "# moved\n\ndef area(a, b):\n    return a * b\n\n\ndef ring(a, b):\n    return a * b - a\n\n\nSIDES = 4\n"
    )
    found = mutation_campaign.found_again(kept, tmp_path)
    assert [(mutant.line, "return a / b" in mutant.source) for mutant in found] == [(4, True), (8, True)]
    assert "gone" in capsys.readouterr().out
