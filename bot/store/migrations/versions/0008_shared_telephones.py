"""several people at one address, and texts that wait to be told whom they are about"""

import sqlalchemy as sa
from alembic import op

from bot.store.utc import Utc

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

_ONE, _PLACES = "uq_contact_channel_address", "uq_contact_channel_address_place"


def upgrade() -> None:
    with op.batch_alter_table("contact") as contact:
        contact.add_column(sa.Column("place", sa.Integer(), nullable=False, server_default="0"))
        contact.drop_constraint(_ONE, type_="unique")
        contact.create_unique_constraint(_PLACES, ["channel", "address", "place"])
    op.create_table(
        "kept_text",
        sa.Column("inbound_id", sa.Integer(), nullable=False),
        sa.Column("channel", sa.String(), nullable=False),
        sa.Column("address", sa.String(), nullable=False),
        sa.Column("text", sa.String(), nullable=False),
        sa.Column("alarm", sa.Boolean(), nullable=False),
        sa.Column("people", sa.JSON(), nullable=False),
        sa.Column("kept_at", Utc(), nullable=False),
        sa.Column("expires_at", Utc(), nullable=False),
        sa.Column("closed_at", Utc(), nullable=True),
        sa.PrimaryKeyConstraint("inbound_id", name=op.f("pk_kept_text")),
        sa.ForeignKeyConstraint(
            ["inbound_id"], ["inbound.id"], name=op.f("fk_kept_text_inbound_id_inbound")
        ),
    )
    op.create_index("ix_kept_text_closed_at_expires_at", "kept_text", ["closed_at", "expires_at"])


def downgrade() -> None:
    """Refused by the database while two people share an address: give one another first."""
    op.drop_table("kept_text")
    with op.batch_alter_table("contact") as contact:
        contact.drop_constraint(_PLACES, type_="unique")
        contact.create_unique_constraint(_ONE, ["channel", "address"])
        contact.drop_column("place")
