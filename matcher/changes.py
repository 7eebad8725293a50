"""Hears when a studio's log has changed, by whichever process: a count that grows, and a way to wait for it.

Below `matcher.storage.database`, which announces what it keeps inside the transaction that keeps it, so that a change
is heard only when it is kept. On PostgreSQL by NOTIFY; in a SQLite file by a number in its header, which a transaction
changes like any other page.
"""

from __future__ import annotations

import selectors
import socket
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from typing import Any, Protocol

import sqlalchemy as sa

LOOK_EVERY_S = 0.5
"""How often a file is looked at, while somebody waits."""

_CHANNEL = "studio_changes"
_TRY_AGAIN_AFTER_S = (0.1, 0.2, 0.5, 1.0, 2.0)
_STILL_THERE_AFTER_S = 30.0
_STEADY_AFTER_S = 5.0
_LARGEST = 2**31 - 1


class Changes(Protocol):
    """The changes of one log that others should see, as far as this process has heard of them.

    ``count`` grows with every one; it begins anew with each process and says nothing by itself.
    """

    @property
    def count(self) -> int: ...

    def wait(self, count: int, timeout_s: float) -> int:
        """Return the count once it is beyond ``count``, at once where it is already; as it is after ``timeout_s``.

        Any number of threads may wait.
        """
        ...

    def announce(self, connection: sa.Connection) -> Callable[[], None]:
        """Announce what an open transaction changed, if anything; call what is returned once that is kept."""
        ...

    def close(self) -> None:
        """Hear nothing more; whoever waits goes on."""
        ...


class _Count:
    """A number that several threads count up and wait for."""

    def __init__(self) -> None:
        self._counted = threading.Condition()  # of a lock that its holder may take again
        self._count = 0
        self._closed = False

    @property
    def count(self) -> int:
        return self._count

    def _count_up(self) -> None:
        with self._counted:
            self._count += 1
            self._counted.notify_all()

    def close(self) -> None:
        with self._counted:
            self._closed = True
            self._counted.notify_all()


class ChangesOfFile(_Count):
    """Changes of a SQLite file: this process's own at once, others' by a look at the file while somebody waits."""

    def __init__(self, engine: sa.Engine) -> None:
        super().__init__()
        self._engine = engine
        self._seen = self._number_now()
        self._looked_at = time.monotonic()

    def wait(self, count: int, timeout_s: float) -> int:
        until = time.monotonic() + timeout_s
        with self._counted:
            while self._count <= count and not self._closed:
                self._look()
                left = until - time.monotonic()
                if self._count > count or left <= 0:
                    break
                self._counted.wait(min(left, LOOK_EVERY_S))
            return self._count

    def announce(self, connection: sa.Connection) -> Callable[[], None]:
        before = connection.info.get("changed rows")
        if before is not None and before == _changed_rows(connection):
            return lambda: None
        made = (_number(connection) + 1) % _LARGEST
        connection.exec_driver_sql(f"PRAGMA user_version = {made}")

        def kept() -> None:
            with self._counted:
                self._seen = made
            self._count_up()

        return kept

    def _look(self) -> None:
        """See whether another process has changed the file, unless that was just looked at."""
        if time.monotonic() < self._looked_at + LOOK_EVERY_S:
            return
        self._looked_at = time.monotonic()
        number = self._number_now()
        if number is not None and number != self._seen:
            self._seen = number
            self._count_up()

    def _number_now(self) -> int | None:
        """Return the number in the file's header; None when the file can't be read just now."""
        try:
            with self._engine.connect() as connection:
                return _number(connection)
        except sa.exc.SQLAlchemyError:
            return None


class ChangesOfServer(_Count):
    """Changes of a PostgreSQL database: one connection listens, and comes back by itself when it is lost.

    on_connect: called with each new connection before it listens; what it raises at the first one is raised. What was
    missed while no connection listened counts as one change.
    """

    def __init__(self, engine: sa.Engine, on_connect: Callable[[sa.Connection], None]) -> None:
        super().__init__()
        self._engine = engine
        self._on_connect = on_connect
        self._stop, self._stopped = socket.socketpair()
        connection = self._connect()
        self._thread = threading.Thread(target=self._listen, args=(connection,), name="studio-changes", daemon=True)
        self._thread.start()

    def wait(self, count: int, timeout_s: float) -> int:
        with self._counted:
            self._counted.wait_for(lambda: self._count > count or self._closed, timeout_s)
            return self._count

    def announce(self, connection: sa.Connection) -> Callable[[], None]:
        changed = "pg_current_xact_id_if_assigned() IS NOT NULL"  # given to whoever writes, and to nobody else
        connection.exec_driver_sql(f"SELECT pg_notify('{_CHANNEL}', '') WHERE {changed}")
        return lambda: None  # the listening connection hears it, as all others do

    def close(self) -> None:
        super().close()
        with suppress(OSError):
            self._stop.send(b".")
        if self._thread is not threading.current_thread():
            self._thread.join(timeout=5)
        self._stop.close()

    def _connect(self) -> sa.Connection:
        connection = self._engine.connect().execution_options(isolation_level="AUTOCOMMIT")
        try:
            connection.detach()  # it stays out of the pool, which has enough to lend
            self._on_connect(connection)
            connection.exec_driver_sql(f"LISTEN {_CHANNEL}")
        except BaseException:
            connection.close()
            raise
        return connection

    def _listen(self, connection: sa.Connection | None) -> None:
        tries = 0
        while not self._closed:
            begun = time.monotonic()
            try:
                if connection is None:
                    connection = self._connect()
                    self._count_up()
                self._hear(connection)
            except Exception:
                tries = 0 if time.monotonic() > begun + _STEADY_AFTER_S else tries + 1
            if connection is not None:
                with suppress(Exception):
                    connection.close()
                connection = None
            if not self._closed:
                self._rest(_TRY_AGAIN_AFTER_S[min(tries, len(_TRY_AGAIN_AFTER_S) - 1)])
        self._stopped.close()

    def _hear(self, connection: sa.Connection) -> None:
        """Count what the server tells, until this is closed or the connection is lost."""
        driver: Any = connection.connection.dbapi_connection
        with selectors.DefaultSelector() as ready:
            ready.register(driver.fileno(), selectors.EVENT_READ)
            ready.register(self._stopped, selectors.EVENT_READ)
            while not self._closed:
                if not ready.select(_STILL_THERE_AFTER_S):
                    connection.exec_driver_sql("SELECT 1")
                    continue
                driver.pgconn.consume_input()
                heard = False
                while driver.pgconn.notifies() is not None:
                    heard = True
                if heard:
                    self._count_up()

    def _rest(self, seconds: float) -> None:
        with selectors.DefaultSelector() as ready:
            ready.register(self._stopped, selectors.EVENT_READ)
            ready.select(seconds)


def note_state(connection: sa.Connection) -> None:
    """Note how a SQLite transaction begins, so that one which changes nothing announces nothing."""
    if connection.dialect.name == "sqlite":
        connection.info["changed rows"] = _changed_rows(connection)


def _changed_rows(connection: sa.Connection) -> int:
    """Return how many rows this connection has changed since it was made."""
    return int(connection.exec_driver_sql("SELECT total_changes()").scalar_one())


def _number(connection: sa.Connection) -> int:
    return int(connection.exec_driver_sql("PRAGMA user_version").scalar_one())
