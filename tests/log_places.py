"""Fixtures for tests of the log: a new studio in a folder, and one on a PostgreSQL server."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from matcher.studio import Studio
from tests.postgres_server import emptied, fresh_database, server_url


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[str]:
    with server_url() as url:
        yield url


@pytest.fixture(scope="session")
def opened_database(postgres_server: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A database that holds a new studio."""
    with fresh_database(postgres_server) as url:
        with pytest.MonkeyPatch.context() as patched:
            patched.setenv("MATCHER_PHOTOS", str(tmp_path_factory.mktemp("photographs")))
            Studio.open(url).close()
        yield url


@pytest.fixture(params=["folder", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """Where a new studio can be opened, again and again; nothing lies there until ``studio`` or the test opens it."""
    if request.param == "folder":
        yield str(tmp_path / "studio")
        return
    monkeypatch.setenv("MATCHER_PHOTOS", str(tmp_path / "photographs"))
    if "studio" in request.fixturenames:  # its tables are made once: that takes longer than most of these tests
        yield emptied(request.getfixturevalue("opened_database"))
        return
    with fresh_database(request.getfixturevalue("postgres_server")) as url:
        yield url


@pytest.fixture
def studio(place: str) -> Iterator[Studio]:
    with Studio.open(place) as opened:
        yield opened
