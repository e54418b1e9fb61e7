"""Plays invented stories against a virtual clock: for the demo, for `talk`, and as tests."""
