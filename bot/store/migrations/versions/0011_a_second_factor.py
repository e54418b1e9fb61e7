"""codes from a person's own phone beside the password, and recovery codes"""

import sqlalchemy as sa
from alembic import op

from bot.store.utc import Utc

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "second_factor",
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("secret", sa.String(), nullable=False),
        sa.Column("last_step", sa.Integer(), nullable=False),
        sa.Column("made_at", Utc(), nullable=False),
        sa.Column("confirmed_at", Utc(), nullable=True),
        sa.ForeignKeyConstraint(
            ["account_id"], ["account.id"], name=op.f("fk_second_factor_account_id_account")
        ),
        sa.PrimaryKeyConstraint("account_id", name=op.f("pk_second_factor")),
    )
    op.create_table(
        "recovery_code",
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("code_hash", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"], ["account.id"], name=op.f("fk_recovery_code_account_id_account")
        ),
        sa.PrimaryKeyConstraint("account_id", "code_hash", name=op.f("pk_recovery_code")),
    )


def downgrade() -> None:
    op.drop_table("recovery_code")
    op.drop_table("second_factor")
