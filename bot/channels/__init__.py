"""Ways to reach a phone: one port, an adapter for each provider, and their rules."""

import logging

# At their lower levels these write whole addresses, which hold tokens and passwords, and texts.
for _name in ("httpx", "httpcore", "telegram"):
    logging.getLogger(_name).setLevel(logging.WARNING)
