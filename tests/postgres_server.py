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


@contextmanager
def server_url() -> Iterator[str]:
    """Give the URL of a server's database; where there is none the test is skipped, but fails under CI."""
    named = os.environ.get("MATCHER_TEST_POSTGRES")
    programs = _programs()
    if named:
        yield named
    elif programs is not None:
        with _private_server(programs) as url:
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
    engine = sa.create_engine(url, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(sa.text(f"CREATE DATABASE {name}"))
    try:
        fresh = url.set(drivername="postgresql", database=name)
        yield fresh.render_as_string(hide_password=False)
    finally:
        with engine.connect() as connection:
            connection.execute(sa.text(f"DROP DATABASE {name} WITH (FORCE)"))
        engine.dispose()


def _programs() -> Path | None:
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
    port = _free_port()
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


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
