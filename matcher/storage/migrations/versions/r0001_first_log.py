"""The first log: trials with their coats, readings and photographs; targets, stocks, drafts and history."""

import sqlalchemy as sa
from alembic import op

revision = "r0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "drafts",
        sa.Column("form", sa.String(length=200), nullable=False),
        sa.Column("body", sa.JSON(), nullable=False),
        sa.Column("saved_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("form", name=op.f("pk_drafts")),
    )
    op.create_table(
        "history",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("subject", sa.String(length=200), nullable=False),
        sa.Column("detail", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_history")),
    )
    op.create_index("ix_history_subject", "history", ["kind", "subject"], unique=False)
    op.create_table(
        "photos",
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("suffix", sa.String(length=8), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("size_bytes", sa.Integer(), nullable=False),
        sa.Column("kept_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_photos")),
    )
    op.create_table(
        "stocks",
        sa.Column("label", sa.String(length=200), nullable=False),
        sa.Column("chemical", sa.Text(), nullable=False),
        sa.Column("grams_per_litre", sa.Double(), nullable=False),
        sa.Column("lot", sa.Text(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.CheckConstraint("grams_per_litre > 0", name=op.f("ck_stocks_strength")),
        sa.PrimaryKeyConstraint("label", name=op.f("pk_stocks")),
    )
    op.create_table(
        "studio",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("uid", sa.String(length=64), nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("is_demo", sa.Boolean(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("trials_revision", sa.Integer(), nullable=False),
        sa.CheckConstraint("id = 1", name=op.f("ck_studio_one_row")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_studio")),
    )
    op.create_table(
        "targets",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=64), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("tolerance_delta_e00", sa.Double(), nullable=False),
        sa.Column("photo_sha256", sa.String(length=64), nullable=True),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("set_aside_reason", sa.Text(), nullable=True),
        sa.CheckConstraint("tolerance_delta_e00 > 0", name=op.f("ck_targets_tolerance")),
        sa.ForeignKeyConstraint(["photo_sha256"], ["photos.sha256"], name=op.f("fk_targets_photo_sha256_photos")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_targets")),
        sa.UniqueConstraint("uid", name=op.f("uq_targets_uid")),
    )
    op.create_table(
        "trials",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=64), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("piece", sa.Text(), nullable=False),
        sa.Column("ambient_temp_c", sa.Double(), nullable=True),
        sa.Column("ambient_humidity_percent", sa.Double(), nullable=True),
        sa.Column("alloy", sa.Text(), nullable=False),
        sa.Column("surface", sa.Text(), nullable=False),
        sa.Column("undercoat_chemical", sa.Text(), nullable=True),
        sa.Column("undercoat_strength_of_stock", sa.Double(), nullable=True),
        sa.Column("undercoat_burnish", sa.Double(), nullable=True),
        sa.Column("undercoat_stock", sa.String(length=200), nullable=True),
        sa.Column("seal_kind", sa.Text(), nullable=True),
        sa.Column("seal_coats", sa.Integer(), nullable=True),
        sa.Column("seal_first_coat_hot", sa.Boolean(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("target_id", sa.Integer(), nullable=True),
        sa.Column("set_aside_reason", sa.Text(), nullable=True),
        sa.Column("logged_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("undercoat_burnish >= 0 AND undercoat_burnish <= 1", name=op.f("ck_trials_burnish")),
        sa.CheckConstraint(
            "undercoat_strength_of_stock > 0 AND undercoat_strength_of_stock <= 1", name=op.f("ck_trials_undercoat")
        ),
        sa.ForeignKeyConstraint(["target_id"], ["targets.id"], name=op.f("fk_trials_target_id_targets")),
        sa.ForeignKeyConstraint(["undercoat_stock"], ["stocks.label"], name=op.f("fk_trials_undercoat_stock_stocks")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_trials")),
        sa.UniqueConstraint("uid", name=op.f("uq_trials_uid")),
    )
    op.create_index(op.f("ix_trials_target_id"), "trials", ["target_id"], unique=False)
    op.create_table(
        "coats",
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
        sa.ForeignKeyConstraint(["stock"], ["stocks.label"], name=op.f("fk_coats_stock_stocks")),
        sa.ForeignKeyConstraint(["trial_id"], ["trials.id"], name=op.f("fk_coats_trial_id_trials")),
        sa.PrimaryKeyConstraint("trial_id", "position", name=op.f("pk_coats")),
    )
    op.create_table(
        "readings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("trial_id", sa.Integer(), nullable=True),
        sa.Column("target_id", sa.Integer(), nullable=True),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("stage", sa.Text(), nullable=False),
        sa.Column("lab_l", sa.Double(), nullable=False),
        sa.Column("lab_a", sa.Double(), nullable=False),
        sa.Column("lab_b", sa.Double(), nullable=False),
        sa.Column("variance_l", sa.Double(), nullable=False),
        sa.Column("variance_a", sa.Double(), nullable=False),
        sa.Column("variance_b", sa.Double(), nullable=False),
        sa.Column("covariance_la", sa.Double(), nullable=False),
        sa.Column("covariance_lb", sa.Double(), nullable=False),
        sa.Column("covariance_ab", sa.Double(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("photo_sha256", sa.String(length=64), nullable=True),
        sa.Column("whole", sa.JSON(), nullable=False),
        sa.CheckConstraint("(trial_id IS NULL) <> (target_id IS NULL)", name=op.f("ck_readings_of_one_thing")),
        sa.ForeignKeyConstraint(["target_id"], ["targets.id"], name=op.f("fk_readings_target_id_targets")),
        sa.ForeignKeyConstraint(["trial_id"], ["trials.id"], name=op.f("fk_readings_trial_id_trials")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_readings")),
        sa.UniqueConstraint("target_id", name=op.f("uq_readings_target_id")),
        sa.UniqueConstraint("trial_id", "position", name=op.f("uq_readings_trial_id")),
    )
    op.create_table(
        "trial_photos",
        sa.Column("trial_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(["sha256"], ["photos.sha256"], name=op.f("fk_trial_photos_sha256_photos")),
        sa.ForeignKeyConstraint(["trial_id"], ["trials.id"], name=op.f("fk_trial_photos_trial_id_trials")),
        sa.PrimaryKeyConstraint("trial_id", "position", name=op.f("pk_trial_photos")),
    )
    op.create_index(op.f("ix_trial_photos_sha256"), "trial_photos", ["sha256"], unique=False)
