"""Matched printed identification for a wiring harness, checked to read after shrinking."""
