"""Figures of a coat that nobody noted: strength, passes and temperature may be empty."""

import sqlalchemy as sa
from alembic import op

revision = "r0005"
down_revision = "r0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("coats", copy_from=_coats()) as coats:
        coats.alter_column("strength_of_stock", existing_type=sa.Double(), nullable=True)
        coats.alter_column("passes", existing_type=sa.Integer(), nullable=True)
        coats.alter_column("surface_temp_c", existing_type=sa.Double(), nullable=True)


def _coats() -> sa.Table:
    """Return the table as it was: SQLite copies it into another and has to be told of its checks."""
    return sa.Table(
        "coats",
        sa.MetaData(),
        sa.Column("trial_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("chemical", sa.Text(), nullable=False),
        sa.Column("strength_of_stock", sa.Double(), nullable=False),
        sa.Column("passes", sa.Integer(), nullable=False),
        sa.Column("surface_temp_c", sa.Double(), nullable=False),
        sa.Column("application", sa.Text(), nullable=False),
        sa.Column("stock", sa.String(length=200), nullable=True),
        sa.CheckConstraint("passes >= 1", name=op.f("ck_coats_passes")),
        sa.CheckConstraint("strength_of_stock > 0 AND strength_of_stock <= 1", name=op.f("ck_coats_strength")),
        sa.ForeignKeyConstraint(["stock"], ["stocks.label"], name="fk_coats_stock_stocks"),
        sa.ForeignKeyConstraint(["trial_id"], ["trials.id"], name="fk_coats_trial_id_trials"),
        sa.PrimaryKeyConstraint("trial_id", "position", name="pk_coats"),
    )
