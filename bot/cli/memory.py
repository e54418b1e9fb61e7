"""What a process that runs for months does about its memory."""

import gc

_YOUNG = 10_000  # objects made between two looks for garbage; Python looks after 700 (our choice)


def keep_loaded() -> None:
    """Let the look for garbage pass over what is loaded now, which stays to the end.

    Each full look at the content took more than a tenth of a second, while every reply waited.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(_YOUNG)
