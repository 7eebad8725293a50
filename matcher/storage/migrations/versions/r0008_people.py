"""People who may sign in, their devices, codes that sign a device in once, and attempts that failed."""

import sqlalchemy as sa
from alembic import op

revision = "r0008"
down_revision = "r0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "people",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=64), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("key", sa.String(length=200), nullable=True),
        sa.Column("role", sa.String(length=20), nullable=False),
        sa.Column("passphrase", sa.Text(), nullable=False),
        sa.Column("openid", sa.String(length=500), nullable=True),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("left_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_people"),
        sa.UniqueConstraint("uid", name="uq_people_uid"),
        sa.UniqueConstraint("key", name="uq_people_key"),
        sa.UniqueConstraint("openid", name="uq_people_openid"),
    )
    op.create_table(
        "devices",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=64), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("secret_sha256", sa.String(length=64), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("how", sa.String(length=20), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("seen_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("signed_out_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["people.id"], name="fk_devices_person_id_people"),
        sa.PrimaryKeyConstraint("id", name="pk_devices"),
        sa.UniqueConstraint("uid", name="uq_devices_uid"),
        sa.UniqueConstraint("secret_sha256", name="uq_devices_secret_sha256"),
    )
    op.create_index("ix_devices_person_id", "devices", ["person_id"], unique=False)
    op.create_table(
        "sign_in_codes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code_sha256", sa.String(length=64), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ends_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("used_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["people.id"], name="fk_sign_in_codes_person_id_people"),
        sa.PrimaryKeyConstraint("id", name="pk_sign_in_codes"),
        sa.UniqueConstraint("code_sha256", name="uq_sign_in_codes_code_sha256"),
    )
    op.create_table(
        "sign_in_attempts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("how", sa.String(length=20), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("address", sa.String(length=100), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_sign_in_attempts"),
    )
    op.create_index("ix_sign_in_attempts_at", "sign_in_attempts", ["at"], unique=False)
