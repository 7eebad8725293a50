"""Which casts of a commission were delivered, and areas that are set aside."""

import sqlalchemy as sa
from alembic import op

revision = "r0012"
down_revision = "r0011"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "deliveries",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=64), nullable=False),
        sa.Column("commission_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("delivered_on", sa.String(length=10), nullable=False),
        sa.Column("delivered_to", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("taken_back_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("taken_back_by", sa.Text(), nullable=True),
        sa.CheckConstraint("number >= 1", name=op.f("ck_deliveries_number")),
        sa.ForeignKeyConstraint(["commission_id"], ["commissions.id"], name="fk_deliveries_commission_id_commissions"),
        sa.PrimaryKeyConstraint("id", name="pk_deliveries"),
        sa.UniqueConstraint("uid", name="uq_deliveries_uid"),
    )
    op.create_index("ix_deliveries_commission_id", "deliveries", ["commission_id"], unique=False)
    op.add_column("areas", sa.Column("set_aside_reason", sa.Text(), nullable=True))
