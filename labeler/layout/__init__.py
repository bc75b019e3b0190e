"""Lay out: pieces go to the cells of their stock, sheet after sheet."""
