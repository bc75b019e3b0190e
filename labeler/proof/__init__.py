"""Proof: one page of pictures, every marker flat and as it will look on its part."""

from labeler.proof.making import write_proof

__all__ = ["write_proof"]
