"""`python -m bot` is the same as the console script `countdown`."""

from bot.cli import main

main()
