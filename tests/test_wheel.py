"""A built wheel works as well as a checkout: cards, migrations, cautions, page and demo pictures travel in it."""

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory):
    """The wheel, built from this tree and laid out as an installer does."""
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)],
        cwd=ROOT,
        check=True,
        capture_output=True,
        timeout=120,
    )
    (wheel,) = folder.glob("*.whl")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(folder / "site")
    return folder / "site"


def run(unpacked, *command):
    """Run a command that sees the wheel and not the checkout."""
    environment = {**os.environ, "PYTHONPATH": str(unpacked), "PYTHONSAFEPATH": "1"}
    done = subprocess.run(
        [sys.executable, *command],
        cwd=unpacked.parent,
        env=environment,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_the_wheel_is_what_runs(unpacked):
    where = run(unpacked, "-c", "import matcher, ui; print(matcher.__file__); print(ui.__file__)")
    assert all(Path(line).is_relative_to(unpacked) for line in where.split())


def test_its_cards_are_read(unpacked):
    names = run(unpacked, "-c", "from matcher import load_cards; print(sorted(load_cards()))")
    assert names.strip() == "['24-patch chart', 'carrier sheet', 'grey card', 'grey scale']"


def test_its_demo_studio_opens_with_pictures_and_migrations(unpacked, tmp_path):
    run(unpacked, "-m", "matcher", "demo", str(tmp_path / "demo"))
    listed = run(unpacked, "-m", "matcher", "trials", "list", "--studio", str(tmp_path / "demo"))
    assert "ferric nitrate" in listed
    run(unpacked, "-m", "matcher", "trials", "card", "9", str(tmp_path / "9.pdf"), "--studio", str(tmp_path / "demo"))
    assert (tmp_path / "9.pdf").read_bytes().startswith(b"%PDF"), "the sheets' type travels too"
    assert len(list((tmp_path / "demo" / "photos").rglob("*.jpg"))) > 80


def test_its_page_and_styles_travel(unpacked):
    assert (unpacked / "ui" / "app.py").is_file()
    assert list((unpacked / "ui").rglob("*.js")) and list((unpacked / "ui").rglob("*.css"))
