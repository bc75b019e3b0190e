"""What the stock takes: the largest piece that can be printed, and which other stock takes larger ones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, isfinite

from labeler.model import Stock
from labeler.stocks import largest_piece

EPS = 1e-6


@dataclass(frozen=True, slots=True)
class Room:
    """The largest piece that a stock takes, mm; ``larger`` is a stock that takes more, or None."""

    width_mm: float = inf
    height_mm: float = inf
    stock: str = ""
    larger: Room | None = None

    def refusal(self, width_mm: float, height_mm: float) -> str:
        """Return why a piece cannot be printed, with the limit and the remedy, or ``""``."""
        if width_mm <= self.width_mm + EPS and height_mm <= self.height_mm + EPS:
            return ""
        limits = " x ".join(f"{limit:g}" if isfinite(limit) else "any" for limit in (self.width_mm, self.height_mm))
        text = f"the flat piece is {width_mm:.4g} x {height_mm:.4g} mm, {self.stock} takes {limits} mm"
        ways = [f"use --stock {self.larger.stock}"] if self.larger else []
        if width_mm > self.width_mm + EPS:
            ways.append("cut it shorter")
        if height_mm > self.height_mm + EPS:
            ways.append("take a smaller tube")
        return f"{text}: {' or '.join(ways)}"


UNLIMITED = Room()


def room_of(stock: Stock, others: Sequence[Stock] = ()) -> Room:
    """Return the room on a stock; of the others that take the same, the first with more of it."""
    width, height = largest_piece(stock)
    larger = None
    for other in others:
        wider, higher = largest_piece(other)
        if other.takes == stock.takes and wider >= width and higher >= height and (wider, higher) != (width, height):
            larger = Room(wider, higher, other.name)
            break
    return Room(width, height, stock.name, larger)
