"""Proof: one page of pictures, every marker flat and as it will look on its part."""
