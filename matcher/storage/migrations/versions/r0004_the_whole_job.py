"""The whole job: commissions, sign-offs, casts, a journal; readings taken again; bottles and their use."""

import sqlalchemy as sa
from alembic import op

revision = "r0004"
down_revision = "r0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "commissions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=64), nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("client", sa.Text(), nullable=False),
        sa.Column("alloy", sa.Text(), nullable=False),
        sa.Column("size", sa.Text(), nullable=False),
        sa.Column("area_cm2", sa.Double(), nullable=True),
        sa.Column("casts", sa.Integer(), nullable=False),
        sa.Column("due_on", sa.String(length=10), nullable=True),
        sa.Column("tolerance_delta_e00", sa.Double(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("set_aside_reason", sa.Text(), nullable=True),
        sa.CheckConstraint("casts >= 1", name=op.f("ck_commissions_casts")),
        sa.CheckConstraint("tolerance_delta_e00 > 0", name=op.f("ck_commissions_tolerance")),
        sa.PrimaryKeyConstraint("id", name="pk_commissions"),
        sa.UniqueConstraint("uid", name="uq_commissions_uid"),
    )
    op.create_table(
        "areas",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=64), nullable=False),
        sa.Column("commission_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("area_cm2", sa.Double(), nullable=True),
        sa.Column("target_id", sa.Integer(), nullable=True),
        sa.Column("repairs_uid", sa.String(length=64), nullable=True),
        sa.ForeignKeyConstraint(["commission_id"], ["commissions.id"], name="fk_areas_commission_id_commissions"),
        sa.ForeignKeyConstraint(["target_id"], ["targets.id"], name="fk_areas_target_id_targets"),
        sa.PrimaryKeyConstraint("id", name="pk_areas"),
        sa.UniqueConstraint("commission_id", "position", name="uq_areas_commission_id"),
        sa.UniqueConstraint("uid", name="uq_areas_uid"),
    )
    op.create_index("ix_areas_target_id", "areas", ["target_id"], unique=False)
    op.create_table(
        "casts",
        sa.Column("trial_id", sa.Integer(), nullable=False),
        sa.Column("area_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.CheckConstraint("number >= 1", name=op.f("ck_casts_number")),
        sa.ForeignKeyConstraint(["area_id"], ["areas.id"], name="fk_casts_area_id_areas"),
        sa.ForeignKeyConstraint(["trial_id"], ["trials.id"], name="fk_casts_trial_id_trials"),
        sa.PrimaryKeyConstraint("trial_id", name="pk_casts"),
    )
    op.create_index("ix_casts_area_id", "casts", ["area_id"], unique=False)
    op.create_table(
        "earlier_readings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=64), nullable=False),
        sa.Column("trial_id", sa.Integer(), nullable=True),
        sa.Column("target_id", sa.Integer(), nullable=True),
        sa.Column("stage", sa.Text(), nullable=False),
        sa.Column("replaced_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("whole", sa.JSON(), nullable=False),
        sa.CheckConstraint("(trial_id IS NULL) <> (target_id IS NULL)", name=op.f("ck_earlier_readings_of_one_thing")),
        sa.ForeignKeyConstraint(["target_id"], ["targets.id"], name="fk_earlier_readings_target_id_targets"),
        sa.ForeignKeyConstraint(["trial_id"], ["trials.id"], name="fk_earlier_readings_trial_id_trials"),
        sa.PrimaryKeyConstraint("id", name="pk_earlier_readings"),
        sa.UniqueConstraint("uid", name="uq_earlier_readings_uid"),
    )
    op.create_index("ix_earlier_readings_target_id", "earlier_readings", ["target_id"], unique=False)
    op.create_index("ix_earlier_readings_trial_id", "earlier_readings", ["trial_id"], unique=False)
    op.create_table(
        "journal",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=64), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("commission_id", sa.Integer(), nullable=False),
        sa.Column("area_id", sa.Integer(), nullable=True),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("photo_sha256", sa.String(length=64), nullable=True),
        sa.ForeignKeyConstraint(["area_id"], ["areas.id"], name="fk_journal_area_id_areas"),
        sa.ForeignKeyConstraint(["commission_id"], ["commissions.id"], name="fk_journal_commission_id_commissions"),
        sa.ForeignKeyConstraint(["photo_sha256"], ["photos.sha256"], name="fk_journal_photo_sha256_photos"),
        sa.PrimaryKeyConstraint("id", name="pk_journal"),
        sa.UniqueConstraint("uid", name="uq_journal_uid"),
    )
    op.create_index("ix_journal_commission_id", "journal", ["commission_id"], unique=False)
    op.create_table(
        "sign_offs",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=64), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("area_id", sa.Integer(), nullable=False),
        sa.Column("target_id", sa.Integer(), nullable=False),
        sa.Column("trial_id", sa.Integer(), nullable=False),
        sa.Column("signed_by", sa.Text(), nullable=False),
        sa.Column("light", sa.Text(), nullable=False),
        sa.Column("body", sa.JSON(), nullable=False),
        sa.Column("withdrawn_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("withdrawn_reason", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["area_id"], ["areas.id"], name="fk_sign_offs_area_id_areas"),
        sa.ForeignKeyConstraint(["target_id"], ["targets.id"], name="fk_sign_offs_target_id_targets"),
        sa.ForeignKeyConstraint(["trial_id"], ["trials.id"], name="fk_sign_offs_trial_id_trials"),
        sa.PrimaryKeyConstraint("id", name="pk_sign_offs"),
        sa.UniqueConstraint("uid", name="uq_sign_offs_uid"),
    )
    op.create_index("ix_sign_offs_area_id", "sign_offs", ["area_id"], unique=False)
    op.create_index("ix_sign_offs_target_id", "sign_offs", ["target_id"], unique=False)
    op.create_index("ix_sign_offs_trial_id", "sign_offs", ["trial_id"], unique=False)
    op.create_table(
        "solution_uses",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=64), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("stock", sa.String(length=200), nullable=False),
        sa.Column("strength_of_stock", sa.Double(), nullable=False),
        sa.Column("millilitres", sa.Double(), nullable=False),
        sa.Column("area_cm2", sa.Double(), nullable=True),
        sa.Column("passes", sa.Integer(), nullable=True),
        sa.Column("application", sa.Text(), nullable=False),
        sa.Column("trial_id", sa.Integer(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.CheckConstraint("millilitres > 0", name=op.f("ck_solution_uses_millilitres")),
        sa.CheckConstraint("strength_of_stock > 0 AND strength_of_stock <= 1", name=op.f("ck_solution_uses_strength")),
        sa.ForeignKeyConstraint(["stock"], ["stocks.label"], name="fk_solution_uses_stock_stocks"),
        sa.ForeignKeyConstraint(["trial_id"], ["trials.id"], name="fk_solution_uses_trial_id_trials"),
        sa.PrimaryKeyConstraint("id", name="pk_solution_uses"),
        sa.UniqueConstraint("uid", name="uq_solution_uses_uid"),
    )
    op.create_index("ix_solution_uses_stock", "solution_uses", ["stock"], unique=False)
    op.add_column("stocks", sa.Column("formula", sa.Text(), server_default="", nullable=False))
    op.add_column("stocks", sa.Column("made_by", sa.Text(), server_default="", nullable=False))
    op.add_column("stocks", sa.Column("kept_where", sa.Text(), server_default="", nullable=False))
    op.add_column("stocks", sa.Column("volume_ml", sa.Double(), nullable=True))
    op.add_column("stocks", sa.Column("opened_at", sa.DateTime(timezone=True), nullable=True))
    op.add_column("stocks", sa.Column("used_up_at", sa.DateTime(timezone=True), nullable=True))
