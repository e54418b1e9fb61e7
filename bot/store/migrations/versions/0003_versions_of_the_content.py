"""versions of the content, and which one went live when"""

import sqlalchemy as sa
from alembic import op

from bot.store.utc import Utc

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "content_version",
        sa.Column("revision", sa.String(), nullable=False),
        sa.Column("files", sa.JSON(), nullable=False),
        sa.Column("stored_at", Utc(), nullable=False),
        sa.PrimaryKeyConstraint("revision", name=op.f("pk_content_version")),
    )
    op.create_table(
        "content_publication",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("revision", sa.String(), nullable=False),
        sa.Column("at", Utc(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_content_publication")),
        sa.ForeignKeyConstraint(
            ["revision"],
            ["content_version.revision"],
            name=op.f("fk_content_publication_revision_content_version"),
        ),
    )
    op.create_index(op.f("ix_content_publication_revision"), "content_publication", ["revision"])


def downgrade() -> None:
    op.drop_table("content_publication")
    op.drop_table("content_version")
