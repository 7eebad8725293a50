"""Any number of pieces on the bench and of half-filled record forms: what stood in the one place of each comes over.

Tables stay as they are: a piece, or a form, has a draft of its own now, with its number at the end of the name.
"""

from datetime import UTC, datetime
from typing import Any
from uuid import uuid4

import sqlalchemy as sa
from alembic import op

revision = "r0003"
down_revision = "r0002"
branch_labels = None
depends_on = None

DRAFTS = sa.table(
    "drafts",
    sa.column("form", sa.String),
    sa.column("body", sa.JSON),
    sa.column("saved_at", sa.DateTime(timezone=True)),
)
HALF_READ, PLATE_LAID_BY = "bench reading", "plate laid by"


def upgrade() -> None:
    connection = op.get_bind()
    form = uuid4().hex[:12]
    for number, (name, half_read) in enumerate((("bench", HALF_READ), ("bench laid by", None)), start=1):
        body = _body(connection, name)
        if body is None or not body.get("begun"):
            continue
        uid = str(body["begun"])
        half = _body(connection, half_read) if half_read else body.get("half_read")
        _put(connection, f"bench piece {uid}", {**_piece(body, uid), "number": number})
        if half:
            _put(connection, f"{HALF_READ} {uid}", _half_reading(half, body))
        _drop(connection, name)
    _drop(connection, HALF_READ)
    waiting = _body(connection, PLATE_LAID_BY)
    if waiting:
        _put(connection, f"plate {form}", waiting)
    _drop(connection, PLATE_LAID_BY)


def _piece(body: dict[str, Any], uid: str) -> dict[str, Any]:
    """Return a piece as it is kept from now on: until now only the passes of its last coat were counted."""
    recipe = body["recipe"]
    under, coats = recipe.get("undercoat"), recipe.get("coats") or []
    ground = 0 if not under else 3 if under.get("burnish") else 2
    below, done = [int(coat["passes"]) for coat in coats[:-1]], int(body.get("done") or 0)
    seal = [0] if recipe.get("seal") else []
    readings = body.get("readings") or {}
    gone = body.get("taken_out")
    return {
        "uid": uid,
        "recipe": recipe,
        "name": "",
        "source": body.get("source") or "",
        "target_id": body.get("target_id"),
        "sealed": body.get("sealed") or "no",
        "counts": [*[1] * ground, *below, done, *seal],
        "at": ground + len(below),
        "readings": [
            {**_after(int(count), below), "reading": kept["reading"], "taken_as": kept.get("taken_as") or {}}
            for count, kept in sorted(readings.items(), key=lambda item: int(item[0]))
        ],
        "taken_out": None
        if not gone
        else {**_after(int(gone["after"]), below), "reading": gone["reading"], "taken_as": gone.get("taken_as") or {}},
        "run": "",
        "listed": None,
        "begun_at": datetime.now(UTC).isoformat(timespec="microseconds"),
        "counted_at": "",
        "form": "plate" if body.get("handed_over") or body.get("from_form") else None,
        "handed_over": bool(body.get("handed_over")),
    }


def _after(count: int, below: list[int]) -> dict[str, int]:
    """Return the point of a reading after so many passes of the last coat; none is after the coat below it."""
    if count or not below:
        return {"coat": len(below), "passes": count} if count else {"coat": 0, "passes": 0}
    return {"coat": len(below) - 1, "passes": below[-1]}


def _half_reading(half: dict[str, Any], body: dict[str, Any]) -> dict[str, Any]:
    """Return a half-taken reading, whose count of passes is a point now."""
    if half.get("after") is None:
        return half
    below = [int(coat["passes"]) for coat in (body["recipe"].get("coats") or [])[:-1]]
    after = _after(int(half["after"]), below)
    return {**half, "after": f"{after['coat']}.{after['passes']}"}


def _body(connection: sa.Connection, name: str) -> dict[str, Any] | None:
    body: dict[str, Any] | None = connection.execute(sa.select(DRAFTS.c.body).where(DRAFTS.c.form == name)).scalar()
    return body


def _put(connection: sa.Connection, name: str, body: dict[str, Any]) -> None:
    _drop(connection, name)
    connection.execute(sa.insert(DRAFTS).values(form=name, body=body, saved_at=datetime.now(UTC)))


def _drop(connection: sa.Connection, name: str) -> None:
    connection.execute(sa.delete(DRAFTS).where(DRAFTS.c.form == name))
