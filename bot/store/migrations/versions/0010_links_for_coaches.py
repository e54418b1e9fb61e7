"""a link opens the chat for a coach too"""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None

_TABLES = ("enrolment_code", "identity_check")


def upgrade() -> None:
    for table in _TABLES:
        with op.batch_alter_table(table) as changed:
            changed.add_column(sa.Column("coach_id", sa.Integer(), nullable=True))
            changed.create_foreign_key(op.f(_key(table)), "coach", ["coach_id"], ["id"])


def _key(table: str) -> str:
    return f"fk_{table}_coach_id_coach"


def downgrade() -> None:
    for table in _TABLES:
        op.execute(sa.text(f"DELETE FROM {table} WHERE coach_id IS NOT NULL"))  # noqa: S608
        with op.batch_alter_table(table) as changed:
            changed.drop_constraint(op.f(_key(table)), type_="foreignkey")
            changed.drop_column("coach_id")
