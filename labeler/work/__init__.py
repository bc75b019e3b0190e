"""Bench sheet: what the person who builds the harness has to know, as values in the order of the work."""
