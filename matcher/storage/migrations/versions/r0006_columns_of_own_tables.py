"""What the columns of a studio's own tables mean, remembered by their headings."""

import sqlalchemy as sa
from alembic import op

revision = "r0006"
down_revision = "r0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "table_columns",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=64), nullable=False),
        sa.Column("body", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_table_columns"),
        sa.UniqueConstraint("uid", name="uq_table_columns_uid"),
    )
