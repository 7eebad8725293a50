"""A PostgreSQL server for tests: the one that MATCHER_TEST_POSTGRES names, else a private one on a free port."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from uuid import uuid4

import pytest
import sqlalchemy as sa

from matcher.storage import schema
from matcher.storage.database import first_studio_row


@contextmanager
def server_url() -> Iterator[str]:
    """Give the URL of a server's database; where there is none the test is skipped, but fails under CI."""
    named = os.environ.get("MATCHER_TEST_POSTGRES")
    found = programs()
    if named:
        yield named
    elif found is not None:
        with _private_server(found) as url:
            yield url
    elif os.environ.get("CI"):
        pytest.fail("PostgreSQL must be tested here: install postgresql, or set MATCHER_TEST_POSTGRES.")
    else:
        pytest.skip("no PostgreSQL: install postgresql, or set MATCHER_TEST_POSTGRES to a database's URL")


@contextmanager
def fresh_database(server: str) -> Iterator[str]:
    """Give the URL of an empty database on ``server``, dropped afterwards."""
    name = f"studio_{uuid4().hex[:12]}"
    url = sa.make_url(server).set(drivername="postgresql+psycopg")
    engine = sa.create_engine(url, isolation_level="AUTOCOMMIT", pool_pre_ping=True)
    with engine.connect() as connection:
        connection.execute(sa.text(f"CREATE DATABASE {name}"))
    try:
        fresh = url.set(drivername="postgresql", database=name)
        yield fresh.render_as_string(hide_password=False)
    finally:
        with engine.connect() as connection:
            connection.execute(sa.text(f"DROP DATABASE {name} WITH (FORCE)"))
        engine.dispose()


def emptied(url: str) -> str:
    """Return the URL of a studio's database once it is again as a new studio is; nobody stays connected to it."""
    engine = sa.create_engine(sa.make_url(url).set(drivername="postgresql+psycopg"))
    others = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = current_database() AND pid <> "
    tables = ", ".join(sorted(schema.Table.metadata.tables))
    with engine.begin() as connection:
        connection.execute(sa.text(f"{others} pg_backend_pid()"))
        connection.execute(sa.text(f"TRUNCATE {tables} RESTART IDENTITY"))
        connection.execute(sa.insert(schema.StudioRow).values(**first_studio_row()))
    engine.dispose()
    return url


def programs() -> Path | None:
    """Return the folder of the server's programs, or None: Debian keeps them out of the search path."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    on_path = shutil.which("initdb")
    if not found and on_path is None:
        return None
    return found[-1].parent if found else Path(str(on_path)).parent


@contextmanager
def _private_server(programs: Path) -> Iterator[str]:
    folder = Path(tempfile.mkdtemp(prefix="studio-postgres-"))
    data = folder / "data"
    port = free_port()
    as_server: list[str] = []
    if os.geteuid() == 0:  # the server refuses to run as the superuser
        shutil.chown(folder, "postgres")
        as_server = ["runuser", "-u", "postgres", "--"]

    def run(program: str, *arguments: str) -> None:
        command = [*as_server, str(programs / program), *arguments]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, cwd=folder)

    try:
        run("initdb", "-D", str(data), "-U", "studio", "-A", "trust", "-E", "UTF8", "--locale=C")
        options = f"-p {port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={folder} -c fsync=off"
        run("pg_ctl", "-D", str(data), "-o", options, "-l", str(folder / "log"), "-w", "start")
        try:
            yield f"postgresql://studio@127.0.0.1:{port}/postgres"
        finally:
            run("pg_ctl", "-D", str(data), "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
