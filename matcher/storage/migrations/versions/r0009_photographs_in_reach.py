"""Photographs in a server's database, in the reach of all benches; where a studio was moved."""

import sqlalchemy as sa
from alembic import op

revision = "r0009"
down_revision = "r0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("studio", sa.Column("moved_to", sa.Text(), nullable=True))
    op.add_column("photos", sa.Column("chunk_count", sa.Integer(), server_default="0", nullable=False))
    op.create_table(
        "photo_chunks",
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("position", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("data", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["sha256"], ["photos.sha256"], name="fk_photo_chunks_sha256_photos"),
        sa.PrimaryKeyConstraint("sha256", "position", name="pk_photo_chunks"),
    )
    if op.get_bind().dialect.name == "postgresql":
        op.execute("ALTER TABLE photo_chunks ALTER COLUMN data SET STORAGE EXTERNAL")
