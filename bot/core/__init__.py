"""Pure core: time arithmetic, dialogue steps, escalation. No clock, no I/O, no database."""
