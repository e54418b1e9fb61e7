"""The content: protocols, conversations, sources and facts, as data."""
