"""Codes: what a machine reads on a marker, as modules. Where a symbol may stand is decided when it is fitted."""
