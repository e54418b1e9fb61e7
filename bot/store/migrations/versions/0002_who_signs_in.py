"""who signs in, and the decision beside each escalation so that the log can be searched by it"""

import sqlalchemy as sa
from alembic import op

from bot.store.utc import Utc

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "account",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("same_name", sa.String(), nullable=False),
        sa.Column("roles", sa.JSON(), nullable=False),
        sa.Column("password", sa.String(), nullable=False),
        sa.Column("created_at", Utc(), nullable=False),
        sa.Column("closed_at", Utc(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_account")),
        sa.UniqueConstraint("same_name", name=op.f("uq_account_same_name")),
    )
    op.create_table(
        "web_session",
        sa.Column("token_hash", sa.String(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("address", sa.String(), nullable=False),
        sa.Column("began_at", Utc(), nullable=False),
        sa.Column("seen_at", Utc(), nullable=False),
        sa.Column("ended_at", Utc(), nullable=True),
        sa.PrimaryKeyConstraint("token_hash", name=op.f("pk_web_session")),
        sa.ForeignKeyConstraint(
            ["account_id"], ["account.id"], name=op.f("fk_web_session_account_id_account")
        ),
    )
    op.create_index(op.f("ix_web_session_account_id"), "web_session", ["account_id"])
    op.create_table(
        "sign_in_try",
        sa.Column("whose", sa.String(), nullable=False),
        sa.Column("failures", sa.Integer(), nullable=False),
        sa.Column("free_at", Utc(), nullable=False),
        sa.PrimaryKeyConstraint("whose", name=op.f("pk_sign_in_try")),
    )
    op.create_table(
        "known_address",
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("address", sa.String(), nullable=False),
        sa.Column("last_at", Utc(), nullable=False),
        sa.PrimaryKeyConstraint("account_id", "address", name=op.f("pk_known_address")),
        sa.ForeignKeyConstraint(
            ["account_id"], ["account.id"], name=op.f("fk_known_address_account_id_account")
        ),
    )
    _remember_decisions()


def _remember_decisions() -> None:
    """The column, filled from the last decision in each case's log."""
    op.add_column("escalation", sa.Column("disposition", sa.String(), nullable=True))
    event = sa.table(
        "escalation_event",
        sa.column("escalation_id", sa.Integer()),
        sa.column("place", sa.Integer()),
        sa.column("step", sa.String()),
        sa.column("detail", sa.JSON()),
    )
    case = sa.table("escalation", sa.column("id"), sa.column("disposition", sa.String()))
    connection = op.get_bind()
    decided = sa.select(event).where(event.c.step == "decided").order_by(event.c.place)
    for row in connection.execute(decided).all():
        connection.execute(
            sa.update(case)
            .where(case.c.id == row.escalation_id)
            .values(disposition=row.detail["disposition"])
        )


def downgrade() -> None:
    op.drop_column("escalation", "disposition")
    for table in ("known_address", "sign_in_try", "web_session", "account"):
        op.drop_table(table)
