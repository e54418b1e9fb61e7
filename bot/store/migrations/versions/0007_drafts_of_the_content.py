"""drafts of the content, and who changed what in them"""

import sqlalchemy as sa
from alembic import op

from bot.store.utc import Utc

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "content_draft",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("place", sa.String(), nullable=True),
        sa.Column("base", sa.String(), nullable=False),
        sa.Column("files", sa.JSON(), nullable=False),
        sa.Column("started_at", Utc(), nullable=False),
        sa.Column("started_by", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_content_draft")),
        sa.UniqueConstraint("place", name=op.f("uq_content_draft_place")),
        sa.ForeignKeyConstraint(
            ["base"],
            ["content_version.revision"],
            name=op.f("fk_content_draft_base_content_version"),
        ),
    )
    op.create_index(op.f("ix_content_draft_base"), "content_draft", ["base"])
    op.create_table(
        "content_edit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("draft_id", sa.Integer(), nullable=False),
        sa.Column("at", Utc(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("file", sa.String(), nullable=False),
        sa.Column("text", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_content_edit")),
        sa.ForeignKeyConstraint(
            ["draft_id"], ["content_draft.id"], name=op.f("fk_content_edit_draft_id_content_draft")
        ),
    )
    op.create_index(op.f("ix_content_edit_draft_id"), "content_edit", ["draft_id"])


def downgrade() -> None:
    op.drop_table("content_edit")
    op.drop_table("content_draft")
