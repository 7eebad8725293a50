"""The rooms of the house: imports run one way, from higher floors to lower ones, and no room outgrows a dozen files."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
FLOORS = (
    ("errors", "shipped", "one_thread", "words", "typed"),
    ("dates", "files", "hands", "changes", "json_stream"),
    ("colour", "recipe"),
    ("photo",),
    ("card",),
    ("calibration",),
    ("reading",),
    ("instrument", "storage", "process"),
    ("trials", "plan"),
    ("bench", "notebook_columns", "access", "ranking", "sharing"),
    ("suggest", "notebook", "tags"),
    ("commissions", "plates_in_picture", "plates_beside"),
    ("sheets",),
    ("studio",),
    ("demo", "demo_examples", "printed"),
    ("typed_in",),
    ("share_commands",),
    ("cli",),
)
"""Rooms and single files of ``matcher``, the lowest first: each imports from lower floors, its own files among them."""
PAGE_FLOORS = (
    ("draw", "escaped", "heard"),
    ("state",),
    ("serving",),
    ("sign_in",),
    ("show",),
    ("photograph",),
    ("reading",),
    ("recipe", "camera", "target"),
    ("suggestions",),
    ("bench", "commissions", "wall", "predict", "people"),
    ("screens", "screens_at_the_foot"),
    ("app", "served"),
)
"""The same for ``ui``."""
MOST_ROOMS, MOST_FILES = 22, 12


@pytest.mark.parametrize(("top", "floors"), [("matcher", FLOORS), ("ui", PAGE_FLOORS)])
def test_imports_run_to_lower_floors_only(top: str, floors: tuple[tuple[str, ...], ...]) -> None:
    floor = {room: level for level, rooms in enumerate(floors) for room in rooms}
    upward = [
        f"{file} imports {module}"
        for file, room, module in _imports(top)
        if module != top
        and room not in {"__init__", "__main__"}
        and not (module.split(".")[1] == room or floor[module.split(".")[1]] < floor[room])
    ]
    assert upward == []


def test_the_matcher_knows_nothing_of_the_page() -> None:
    for file in (ROOT / "matcher").rglob("*.py"):
        for module in _modules(file):
            assert module.split(".")[0] not in {"ui", "streamlit", "tests"}, f"{file} imports {module}"


def test_only_the_command_line_prints() -> None:
    for file in (ROOT / "matcher").rglob("*.py"):
        if file.parent.name != "cli":
            calls = [node for node in ast.walk(ast.parse(file.read_text())) if isinstance(node, ast.Call)]
            assert not [call for call in calls if isinstance(call.func, ast.Name) and call.func.id == "print"], file


def test_no_two_files_import_each_other_in_a_circle() -> None:
    graph = {name: set(found) for name, found in _graph().items()}
    while graph:
        free = [name for name, found in graph.items() if not found & graph.keys()]
        assert free, f"a circle among {sorted(graph)}"
        for name in free:
            del graph[name]


@pytest.mark.parametrize("top", ["matcher", "ui"])
def test_rooms_stay_small(top: str) -> None:
    rooms = [folder for folder in (ROOT / top).iterdir() if (folder / "__init__.py").exists()]
    assert len(rooms) <= MOST_ROOMS
    for room in rooms:
        files = sorted(file.name for file in room.glob("*.py"))
        assert len([name for name in files if name != "__init__.py"]) <= MOST_FILES, f"{room}: {files}"


def test_every_room_says_what_it_is_for() -> None:
    for file in (ROOT / "matcher").rglob("__init__.py"):
        assert ast.get_docstring(ast.parse(file.read_text())), file


def _imports(top: str) -> Iterator[tuple[str, str, str]]:
    """Yield file, its room, and each module of the same tree that it imports."""
    for file in sorted((ROOT / top).rglob("*.py")):
        place = file.relative_to(ROOT / top)
        room = place.parts[0] if len(place.parts) > 1 else place.stem
        for module in _modules(file):
            if module.split(".")[0] == top:
                yield str(place), room, module


def _modules(file: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            names = [f"{node.module}.{alias.name}" for alias in node.names]
            yield from (name if _is_module(name) else node.module for name in names)


def _is_module(name: str) -> bool:
    path = ROOT.joinpath(*name.split("."))
    return path.with_suffix(".py").exists() or (path / "__init__.py").exists()


def _graph() -> dict[str, list[str]]:
    graph: dict[str, list[str]] = {}
    for top in ("matcher", "ui"):
        for file in sorted((ROOT / top).rglob("*.py")):
            name = ".".join(file.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
            if name != "matcher":  # its public names load on first use
                graph[name] = [module for module in _modules(file) if module.split(".")[0] == top and module != name]
    return graph
