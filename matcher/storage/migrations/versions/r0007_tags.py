"""Tags given to plates, where their finishes are read by them, and the photographs in which they were seen."""

import sqlalchemy as sa
from alembic import op

revision = "r0007"
down_revision = "r0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "tag_changes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=64), nullable=False),
        sa.Column("what", sa.String(length=10), nullable=False),
        sa.Column("tag", sa.String(length=40), nullable=False),
        sa.Column("trial_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("noted_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.CheckConstraint("what IN ('given', 'taken')", name=op.f("ck_tag_changes_what")),
        sa.CheckConstraint("at <= noted_at", name=op.f("ck_tag_changes_not_ahead")),
        sa.ForeignKeyConstraint(["trial_id"], ["trials.id"], name="fk_tag_changes_trial_id_trials"),
        sa.PrimaryKeyConstraint("id", name="pk_tag_changes"),
        sa.UniqueConstraint("uid", name="uq_tag_changes_uid"),
    )
    op.create_index("ix_tag_changes_tag", "tag_changes", ["tag", "at"], unique=False)
    op.create_index("ix_tag_changes_trial_id", "tag_changes", ["trial_id"], unique=False)
    op.create_table(
        "finish_outlines",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=64), nullable=False),
        sa.Column("trial_id", sa.Integer(), nullable=False),
        sa.Column("tag", sa.String(length=40), nullable=False),
        sa.Column("noted_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("body", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["trial_id"], ["trials.id"], name="fk_finish_outlines_trial_id_trials"),
        sa.PrimaryKeyConstraint("id", name="pk_finish_outlines"),
        sa.UniqueConstraint("uid", name="uq_finish_outlines_uid"),
    )
    op.create_index("ix_finish_outlines_trial_id", "finish_outlines", ["trial_id"], unique=False)
    op.create_table(
        "sightings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=64), nullable=False),
        sa.Column("seen_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("noted_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("photo_sha256", sa.String(length=64), nullable=True),
        sa.Column("tag", sa.String(length=40), nullable=False),
        sa.Column("trial_id", sa.Integer(), nullable=True),
        sa.Column("place", sa.JSON(), nullable=False),
        sa.Column("whole", sa.JSON(), nullable=True),
        sa.Column("left_out_code", sa.String(length=40), nullable=False),
        sa.Column("left_out_message", sa.Text(), nullable=False),
        sa.Column("replaced_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint("seen_at <= noted_at", name=op.f("ck_sightings_not_ahead")),
        sa.ForeignKeyConstraint(["photo_sha256"], ["photos.sha256"], name="fk_sightings_photo_sha256_photos"),
        sa.ForeignKeyConstraint(["trial_id"], ["trials.id"], name="fk_sightings_trial_id_trials"),
        sa.PrimaryKeyConstraint("id", name="pk_sightings"),
        sa.UniqueConstraint("uid", name="uq_sightings_uid"),
    )
    op.create_index("ix_sightings_photo_sha256", "sightings", ["photo_sha256"], unique=False)
    op.create_index("ix_sightings_tag", "sightings", ["tag", "seen_at"], unique=False)
    op.create_index("ix_sightings_trial_id", "sightings", ["trial_id", "seen_at"], unique=False)
