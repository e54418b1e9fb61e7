"""an index that counts what a patient has done"""

from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

_NAME = "ix_item_patient_id_generation_value"


def upgrade() -> None:
    op.create_index(_NAME, "item", ["patient_id", "generation", "value"])


def downgrade() -> None:
    op.drop_index(_NAME, table_name="item")
