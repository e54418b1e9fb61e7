"""the first tables"""

import sqlalchemy as sa
from alembic import op

from bot.store.utc import Utc

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

_TABLES = (
    "patient",
    "surgeon",
    "audit",
    "coach",
    "conversation",
    "escalation",
    "fact",
    "inbound",
    "item",
    "medicine_hold",
    "on_call",
    "surgery",
    "consent",
    "contact",
    "escalation_event",
    "outbound",
    "planned_prompt",
    "reading",
)
_APPEND_ONLY = ("escalation_event", "audit")


def upgrade() -> None:
    op.create_table(
        "patient",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("reference", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("born", sa.Date(), nullable=True),
        sa.Column("enrolled_at", Utc(), nullable=False),
        sa.Column("dawn_agreed", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_patient")),
        sa.UniqueConstraint("reference", name=op.f("uq_patient_reference")),
    )
    op.create_table(
        "surgeon",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_surgeon")),
        sa.UniqueConstraint("name", name=op.f("uq_surgeon_name")),
    )
    op.create_table(
        "audit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", Utc(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=True),
        sa.Column("detail", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["patient_id"], ["patient.id"], name=op.f("fk_audit_patient_id_patient")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_audit")),
    )
    with op.batch_alter_table("audit", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_audit_patient_id"), ["patient_id"], unique=False)

    op.create_table(
        "coach",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("level", sa.String(), nullable=False),
        sa.Column("language", sa.String(), nullable=False),
        sa.Column("joined_at", Utc(), nullable=True),
        sa.Column("left_at", Utc(), nullable=True),
        sa.ForeignKeyConstraint(
            ["patient_id"], ["patient.id"], name=op.f("fk_coach_patient_id_patient")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_coach")),
    )
    with op.batch_alter_table("coach", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_coach_patient_id"), ["patient_id"], unique=False)

    op.create_table(
        "conversation",
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("body", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("wake_at", Utc(), nullable=True),
        sa.ForeignKeyConstraint(
            ["patient_id"], ["patient.id"], name=op.f("fk_conversation_patient_id_patient")
        ),
        sa.PrimaryKeyConstraint("patient_id", name=op.f("pk_conversation")),
    )
    with op.batch_alter_table("conversation", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_conversation_wake_at"), ["wake_at"], unique=False)

    op.create_table(
        "escalation",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("topic", sa.String(), nullable=False),
        sa.Column("severity", sa.String(), nullable=False),
        sa.Column("standing", sa.String(), nullable=False),
        sa.Column("opened_at", Utc(), nullable=False),
        sa.Column("deadline_at", Utc(), nullable=True),
        sa.Column("closed_at", Utc(), nullable=True),
        sa.ForeignKeyConstraint(
            ["patient_id"], ["patient.id"], name=op.f("fk_escalation_patient_id_patient")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_escalation")),
    )
    with op.batch_alter_table("escalation", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_escalation_deadline_at"), ["deadline_at"], unique=False
        )
        batch_op.create_index(batch_op.f("ix_escalation_patient_id"), ["patient_id"], unique=False)
        batch_op.create_index(
            "uq_escalation_open",
            ["patient_id", "topic"],
            unique=True,
            sqlite_where=sa.text("closed_at IS NULL"),
            postgresql_where=sa.text("closed_at IS NULL"),
        )

    op.create_table(
        "fact",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("value", sa.JSON(), nullable=False),
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("at", Utc(), nullable=False),
        sa.ForeignKeyConstraint(
            ["patient_id"], ["patient.id"], name=op.f("fk_fact_patient_id_patient")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_fact")),
        sa.UniqueConstraint("patient_id", "name", name=op.f("uq_fact_patient_id_name")),
    )
    with op.batch_alter_table("fact", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_fact_patient_id"), ["patient_id"], unique=False)

    op.create_table(
        "inbound",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("channel", sa.String(), nullable=False),
        sa.Column("provider_message_id", sa.String(), nullable=False),
        sa.Column("address", sa.String(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=True),
        sa.Column("by_role", sa.String(), nullable=False),
        sa.Column("text", sa.String(), nullable=False),
        sa.Column("received_at", Utc(), nullable=False),
        sa.Column("handled_at", Utc(), nullable=False),
        sa.ForeignKeyConstraint(
            ["patient_id"], ["patient.id"], name=op.f("fk_inbound_patient_id_patient")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_inbound")),
        sa.UniqueConstraint(
            "channel", "provider_message_id", name=op.f("uq_inbound_channel_provider_message_id")
        ),
    )
    with op.batch_alter_table("inbound", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_inbound_patient_id"), ["patient_id"], unique=False)

    op.create_table(
        "item",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("generation", sa.Integer(), nullable=False),
        sa.Column("value", sa.String(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("at", Utc(), nullable=False),
        sa.ForeignKeyConstraint(
            ["patient_id"], ["patient.id"], name=op.f("fk_item_patient_id_patient")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_item")),
        sa.UniqueConstraint(
            "patient_id", "name", "generation", name=op.f("uq_item_patient_id_name_generation")
        ),
    )
    with op.batch_alter_table("item", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_item_patient_id"), ["patient_id"], unique=False)

    op.create_table(
        "medicine_hold",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("medicine", sa.String(), nullable=False),
        sa.Column("last_dose_on", sa.Date(), nullable=False),
        sa.Column("last_dose_at", sa.Time(), nullable=True),
        sa.Column("prescriber", sa.String(), nullable=False),
        sa.Column("instruction", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["patient_id"], ["patient.id"], name=op.f("fk_medicine_hold_patient_id_patient")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_medicine_hold")),
        sa.UniqueConstraint(
            "patient_id", "medicine", name=op.f("uq_medicine_hold_patient_id_medicine")
        ),
    )
    with op.batch_alter_table("medicine_hold", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_medicine_hold_patient_id"), ["patient_id"], unique=False
        )

    op.create_table(
        "on_call",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("surgeon_id", sa.Integer(), nullable=False),
        sa.Column("rank", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("channel", sa.String(), nullable=False),
        sa.Column("address", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["surgeon_id"], ["surgeon.id"], name=op.f("fk_on_call_surgeon_id_surgeon")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_on_call")),
        sa.UniqueConstraint("surgeon_id", "rank", name=op.f("uq_on_call_surgeon_id_rank")),
    )
    op.create_table(
        "surgery",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("surgeon_id", sa.Integer(), nullable=False),
        sa.Column("joint", sa.String(), nullable=False),
        sa.Column("side", sa.String(), nullable=False),
        sa.Column("on_date", sa.Date(), nullable=False),
        sa.Column("starts_at", sa.Time(), nullable=True),
        sa.Column("arrive_at", sa.Time(), nullable=True),
        sa.Column("zone", sa.String(), nullable=False),
        sa.Column("status", sa.String(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("nurse_due", Utc(), nullable=True),
        sa.ForeignKeyConstraint(
            ["patient_id"], ["patient.id"], name=op.f("fk_surgery_patient_id_patient")
        ),
        sa.ForeignKeyConstraint(
            ["surgeon_id"], ["surgeon.id"], name=op.f("fk_surgery_surgeon_id_surgeon")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_surgery")),
        sa.UniqueConstraint("patient_id", name=op.f("uq_surgery_patient_id")),
    )
    with op.batch_alter_table("surgery", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_surgery_nurse_due"), ["nurse_due"], unique=False)
        batch_op.create_index(batch_op.f("ix_surgery_surgeon_id"), ["surgeon_id"], unique=False)

    op.create_table(
        "consent",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("coach_id", sa.Integer(), nullable=True),
        sa.Column("scope", sa.String(), nullable=False),
        sa.Column("given", sa.Boolean(), nullable=False),
        sa.Column("wording", sa.String(), nullable=False),
        sa.Column("language", sa.String(), nullable=False),
        sa.Column("channel", sa.String(), nullable=False),
        sa.Column("address", sa.String(), nullable=False),
        sa.Column("at", Utc(), nullable=False),
        sa.ForeignKeyConstraint(["coach_id"], ["coach.id"], name=op.f("fk_consent_coach_id_coach")),
        sa.ForeignKeyConstraint(
            ["patient_id"], ["patient.id"], name=op.f("fk_consent_patient_id_patient")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_consent")),
    )
    with op.batch_alter_table("consent", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_consent_patient_id"), ["patient_id"], unique=False)

    op.create_table(
        "contact",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("channel", sa.String(), nullable=False),
        sa.Column("address", sa.String(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("coach_id", sa.Integer(), nullable=True),
        sa.Column("stopped_at", Utc(), nullable=True),
        sa.Column("wrong_at", Utc(), nullable=True),
        sa.ForeignKeyConstraint(["coach_id"], ["coach.id"], name=op.f("fk_contact_coach_id_coach")),
        sa.ForeignKeyConstraint(
            ["patient_id"], ["patient.id"], name=op.f("fk_contact_patient_id_patient")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_contact")),
        sa.UniqueConstraint("channel", "address", name=op.f("uq_contact_channel_address")),
    )
    with op.batch_alter_table("contact", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_contact_coach_id"), ["coach_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_contact_patient_id"), ["patient_id"], unique=False)

    op.create_table(
        "escalation_event",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("escalation_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("step", sa.String(), nullable=False),
        sa.Column("at", Utc(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("severity", sa.String(), nullable=False),
        sa.Column("detail", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["escalation_id"],
            ["escalation.id"],
            name=op.f("fk_escalation_event_escalation_id_escalation"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_escalation_event")),
        sa.UniqueConstraint(
            "escalation_id", "place", name=op.f("uq_escalation_event_escalation_id_place")
        ),
    )
    op.create_table(
        "outbound",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=True),
        sa.Column("escalation_id", sa.Integer(), nullable=True),
        sa.Column("to_role", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("channel", sa.String(), nullable=False),
        sa.Column("address", sa.String(), nullable=False),
        sa.Column("text", sa.String(), nullable=False),
        sa.Column("choices", sa.JSON(), nullable=False),
        sa.Column("prompt_key", sa.String(), nullable=True),
        sa.Column("queued_at", Utc(), nullable=False),
        sa.Column("not_after", Utc(), nullable=True),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("next_try_at", Utc(), nullable=False),
        sa.Column("changed_at", Utc(), nullable=False),
        sa.Column("provider_id", sa.String(), nullable=True),
        sa.Column("delivery", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["escalation_id"], ["escalation.id"], name=op.f("fk_outbound_escalation_id_escalation")
        ),
        sa.ForeignKeyConstraint(
            ["patient_id"], ["patient.id"], name=op.f("fk_outbound_patient_id_patient")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_outbound")),
        sa.UniqueConstraint("key", name=op.f("uq_outbound_key")),
    )
    with op.batch_alter_table("outbound", schema=None) as batch_op:
        batch_op.create_index(
            "ix_outbound_channel_address_state", ["channel", "address", "state"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_outbound_escalation_id"), ["escalation_id"], unique=False
        )
        batch_op.create_index(batch_op.f("ix_outbound_patient_id"), ["patient_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_outbound_provider_id"), ["provider_id"], unique=False)
        batch_op.create_index(
            "ix_outbound_state_next_try_at", ["state", "next_try_at"], unique=False
        )

    op.create_table(
        "planned_prompt",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("surgery_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("generation", sa.Integer(), nullable=False),
        sa.Column("parts", sa.JSON(), nullable=False),
        sa.Column("due", Utc(), nullable=False),
        sa.Column("closes", Utc(), nullable=False),
        sa.Column("to_role", sa.String(), nullable=False),
        sa.Column("priority", sa.String(), nullable=False),
        sa.Column("late", sa.String(), nullable=False),
        sa.Column("time_critical", sa.Boolean(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("changed_at", Utc(), nullable=False),
        sa.ForeignKeyConstraint(
            ["patient_id"], ["patient.id"], name=op.f("fk_planned_prompt_patient_id_patient")
        ),
        sa.ForeignKeyConstraint(
            ["surgery_id"], ["surgery.id"], name=op.f("fk_planned_prompt_surgery_id_surgery")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_planned_prompt")),
        sa.UniqueConstraint(
            "surgery_id",
            "key",
            "generation",
            name=op.f("uq_planned_prompt_surgery_id_key_generation"),
        ),
    )
    with op.batch_alter_table("planned_prompt", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_planned_prompt_patient_id"), ["patient_id"], unique=False
        )
        batch_op.create_index("ix_planned_prompt_state_due", ["state", "due"], unique=False)

    op.create_table(
        "reading",
        sa.Column("inbound_id", sa.Integer(), nullable=False),
        sa.Column("asked", sa.String(), nullable=False),
        sa.Column("act", sa.String(), nullable=False),
        sa.Column("also", sa.JSON(), nullable=False),
        sa.Column("symptoms", sa.JSON(), nullable=False),
        sa.Column("alert", sa.Boolean(), nullable=False),
        sa.Column("because", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["inbound_id"], ["inbound.id"], name=op.f("fk_reading_inbound_id_inbound")
        ),
        sa.PrimaryKeyConstraint("inbound_id", name=op.f("pk_reading")),
    )
    for table in _APPEND_ONLY:
        _refuse_changes(table)


def _refuse_changes(table: str) -> None:
    """Make the database itself refuse to change or delete a row of a log."""
    if op.get_bind().dialect.name == "sqlite":
        for verb in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table}"
                f" BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
            )
        return
    op.execute(
        f"CREATE FUNCTION {table}_append_only() RETURNS trigger LANGUAGE plpgsql AS"
        f" $$ BEGIN RAISE EXCEPTION '{table} is append-only'; END $$"
    )
    op.execute(
        f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE ON {table}"
        f" FOR EACH ROW EXECUTE FUNCTION {table}_append_only()"
    )


def downgrade() -> None:
    for table in reversed(_TABLES):
        op.drop_table(table)
