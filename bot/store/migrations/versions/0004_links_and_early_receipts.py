"""codes of links, the check of who opened one, and receipts that came before their message"""

import sqlalchemy as sa
from alembic import op

from bot.store.utc import Utc

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "enrolment_code",
        sa.Column("code_hash", sa.String(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("made_at", Utc(), nullable=False),
        sa.Column("expires_at", Utc(), nullable=False),
        sa.Column("used_at", Utc(), nullable=True),
        sa.PrimaryKeyConstraint("code_hash", name=op.f("pk_enrolment_code")),
        _of_patient("enrolment_code"),
    )
    op.create_index(op.f("ix_enrolment_code_patient_id"), "enrolment_code", ["patient_id"])
    op.create_table(
        "identity_check",
        sa.Column("channel", sa.String(), nullable=False),
        sa.Column("address", sa.String(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("changed_at", Utc(), nullable=False),
        sa.PrimaryKeyConstraint("channel", "address", name=op.f("pk_identity_check")),
        _of_patient("identity_check"),
    )
    op.create_index(op.f("ix_identity_check_patient_id"), "identity_check", ["patient_id"])
    op.create_table(
        "early_receipt",
        sa.Column("channel", sa.String(), nullable=False),
        sa.Column("provider_id", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("received_at", Utc(), nullable=False),
        sa.PrimaryKeyConstraint("channel", "provider_id", name=op.f("pk_early_receipt")),
    )


def _of_patient(table: str) -> sa.ForeignKeyConstraint:
    name = op.f(f"fk_{table}_patient_id_patient")
    return sa.ForeignKeyConstraint(["patient_id"], ["patient.id"], name=name)


def downgrade() -> None:
    for table in ("early_receipt", "identity_check", "enrolment_code"):
        op.drop_table(table)
