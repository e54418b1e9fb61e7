"""an index that finds one surgery's prompts, however many others there are"""

from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

_NAME = "ix_planned_prompt_surgery_id_state_due"


def upgrade() -> None:
    op.create_index(_NAME, "planned_prompt", ["surgery_id", "state", "due"])


def downgrade() -> None:
    op.drop_index(_NAME, table_name="planned_prompt")
