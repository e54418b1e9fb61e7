"""A clinic that is played from a seed: the real services, invented people, a network that fails."""
