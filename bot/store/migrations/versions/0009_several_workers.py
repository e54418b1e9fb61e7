"""who works on the store, whose a claimed message is, and on PostgreSQL a call to sleepers"""

import sqlalchemy as sa
from alembic import op

from bot.store.utc import Utc

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None

# What is due later than this is found in time by those who look of themselves (cli/loops.py).
_SOON = "clock_timestamp() + interval '2 seconds'"
_CALLS = (  # table, columns, when, whom it wakes
    ("outbound", "state, next_try_at", "NEW.state = 'queued' AND NEW.next_try_at", "relay"),
    ("planned_prompt", "state, due", "NEW.state = 'planned' AND NEW.due", "scheduler"),
    ("conversation", "wake_at", "NEW.wake_at", "scheduler"),
    ("escalation", "deadline_at", "NEW.closed_at IS NULL AND NEW.deadline_at", "scheduler"),
)


def upgrade() -> None:
    op.create_table(
        "worker",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("host", sa.String(), nullable=False),
        sa.Column("process", sa.Integer(), nullable=False),
        sa.Column("roles", sa.String(), nullable=False),
        sa.Column("started_at", Utc(), nullable=False),
        sa.Column("beat_at", Utc(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_worker")),
    )
    op.add_column("outbound", sa.Column("claimed_by", sa.Integer(), nullable=True))
    if op.get_bind().dialect.name == "postgresql":
        _make_calls()


def _make_calls() -> None:
    """A NOTIFY in the transaction that makes something due: it is heard when that is committed."""
    op.execute(
        "CREATE FUNCTION countdown_wake() RETURNS trigger LANGUAGE plpgsql AS"
        " $$ BEGIN PERFORM pg_notify('countdown', TG_ARGV[0]); RETURN NULL; END $$"
    )
    for table, columns, when, whom in _CALLS:
        op.execute(
            f"CREATE TRIGGER {table}_wake AFTER INSERT OR UPDATE OF {columns} ON {table}"
            f" FOR EACH ROW WHEN ({when} <= {_SOON}) EXECUTE FUNCTION countdown_wake('{whom}')"
        )


def downgrade() -> None:
    if op.get_bind().dialect.name == "postgresql":
        for table, *_ in _CALLS:
            op.execute(f"DROP TRIGGER {table}_wake ON {table}")
        op.execute("DROP FUNCTION countdown_wake()")
    op.drop_column("outbound", "claimed_by")
    op.drop_table("worker")
