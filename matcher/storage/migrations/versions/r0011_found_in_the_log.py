"""What a long log is found and laid out by without being read whole: each plate's shade, and indexes of names."""

import sqlalchemy as sa
from alembic import op

from matcher.colour.words_for_colours import shade_place

revision = "r0011"
down_revision = "r0010"
branch_labels = None
depends_on = None

_PORTION = 5_000


def upgrade() -> None:
    op.add_column("plate_colours", sa.Column("shade", sa.Integer(), nullable=False, server_default="0"))
    _fill()
    op.create_index("ix_plate_colours_shade", "plate_colours", ["shade", "lab_l", "trial_id"], unique=False)
    for column in ("made_by", "seal_kind", "undercoat_chemical"):
        op.create_index(f"ix_trials_{column}", "trials", [column], unique=False)


def _fill() -> None:
    connection = op.get_bind()
    table = sa.table("plate_colours", *(sa.column(name) for name in ("trial_id", "lab_l", "lab_a", "lab_b", "shade")))
    own = table.c.trial_id == sa.bindparam("number")
    last = 0
    while True:
        query = sa.select(table.c.trial_id, table.c.lab_l, table.c.lab_a, table.c.lab_b).where(table.c.trial_id > last)
        found = connection.execute(query.order_by(table.c.trial_id).limit(_PORTION)).all()
        if not found:
            return
        last = found[-1][0]
        places = [{"number": row[0], "place": shade_place(row[1:])} for row in found]
        connection.execute(sa.update(table).where(own).values(shade=sa.bindparam("place")), places)
