"""Reading what patients write. Pure: text and lexicon in, a structured reading out."""
