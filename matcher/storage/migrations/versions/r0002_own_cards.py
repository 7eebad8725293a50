"""Cards that the studio has measured itself, and camera-and-light profiles."""

import sqlalchemy as sa
from alembic import op

revision = "r0002"
down_revision = "r0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "own_cards",
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("tolerance_delta_e00", sa.Double(), nullable=False),
        sa.Column("measured_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_own_cards"),
    )
    op.create_table(
        "own_card_patches",
        sa.Column("card_name", sa.String(length=200), nullable=False),
        sa.Column("position", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("lab_l", sa.Double(), nullable=False),
        sa.Column("lab_a", sa.Double(), nullable=False),
        sa.Column("lab_b", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(["card_name"], ["own_cards.name"], name="fk_own_card_patches_card_name_own_cards"),
        sa.PrimaryKeyConstraint("card_name", "position", name="pk_own_card_patches"),
    )
    op.create_table(
        "camera_profiles",
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("body", sa.JSON(), nullable=False),
        sa.Column("saved_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_camera_profiles"),
    )
