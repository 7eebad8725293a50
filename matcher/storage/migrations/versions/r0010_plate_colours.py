"""The colours of plates as they are searched by, filled from their readings, and what narrows a search."""

import numpy as np
import sqlalchemy as sa
from alembic import op

from matcher.colour.difference import near_uniform

revision = "r0010"
down_revision = "r0009"
branch_labels = None
depends_on = None

_PORTION = 5_000
_COLUMNS = ("lab_l", "lab_a", "lab_b", "near_l", "near_a", "near_b")


def upgrade() -> None:
    table = op.create_table(
        "plate_colours",
        sa.Column("trial_id", sa.Integer(), autoincrement=False, nullable=False),
        *(sa.Column(name, sa.Double(), nullable=False) for name in _COLUMNS),
        sa.ForeignKeyConstraint(["trial_id"], ["trials.id"], name="fk_plate_colours_trial_id_trials"),
        sa.PrimaryKeyConstraint("trial_id", name="pk_plate_colours"),
    )
    aside = sa.text("set_aside_reason IS NOT NULL")
    op.create_index("ix_trials_made_at", "trials", ["made_at", "id"], unique=False)
    op.create_index("ix_trials_alloy", "trials", ["alloy"], unique=False)
    op.create_index("ix_trials_set_aside", "trials", ["id"], postgresql_where=aside, sqlite_where=aside)
    op.create_index("ix_coats_chemical", "coats", ["chemical"], unique=False)
    _fill(table)


def _fill(table: sa.Table) -> None:
    connection = op.get_bind()
    readings = sa.table("readings", *(sa.column(name) for name in ("trial_id", "position", *_COLUMNS[:3])))
    last = 0
    while True:
        query = sa.select(readings.c.trial_id, *(readings.c[name] for name in _COLUMNS[:3])).where(
            readings.c.trial_id > last, readings.c.position == 0
        )
        found = connection.execute(query.order_by(readings.c.trial_id).limit(_PORTION)).all()
        if not found:
            return
        last = found[-1][0]
        found = [row for row in found if all(isinstance(value, float) for value in row[1:])]  # the others are damaged
        labs = [list(row[1:]) for row in found]
        near = near_uniform(np.array(labs).reshape(-1, 3)).tolist()
        if not labs:
            continue
        connection.execute(
            sa.insert(table),
            [
                dict(zip(("trial_id", *_COLUMNS), (row[0], *lab, *own), strict=True))
                for row, lab, own in zip(found, labs, near, strict=True)
            ],
        )
