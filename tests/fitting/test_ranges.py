"""Reported intervals against brute force: an independent computation of the model, sampled and at its vertices.

The formulas are written again here with arrays, from the conservation of the wall's volume; nothing
is taken from the program but its answers.
"""

import random
from itertools import product

import numpy as np
import pytest

from labeler.fitting.text import needed_capital, zone_on_tube
from labeler.model import Range, Tube
from labeler.tables.catalogue import load_catalogue
from labeler.text import load_font
from tests.cases import spread
from tests.make import settings

CASES = 200
SAMPLES = 10_000
TUBES = [tube for family in load_catalogue().families for tube in family.tubes]


def brute_force(tube: Tube, on: Range, over: float, under: float, heating: str, seed: int) -> dict[str, np.ndarray]:
    """All quantities at 10,000 random points of the box, at its vertices and on the edges between them."""
    sides = [
        (tube.expanded_id_mm, tube.expanded_id_mm * (1 + over)),
        (tube.recovered_id_mm * (1 - under), tube.recovered_id_mm),
        (tube.min_recovered_wall_mm, tube.max_recovered_wall_mm),
        (tube.longitudinal_change, 0.0),
        (0.0, 1.0 if tube.liner_mm else 0.0),
        (on.low, on.high),
    ]
    draw = np.random.default_rng(seed)
    inside = np.column_stack([draw.uniform(low, high, SAMPLES) for low, high in sides])
    edge = inside.copy()  # half of the points on a face, an edge or a vertex of the box
    pick = draw.integers(0, 3, edge.shape)
    for column, (low, high) in enumerate(sides):
        edge[pick[:, column] == 1, column] = low
        edge[pick[:, column] == 2, column] = high
    corners = list(product(*sides[:5], np.linspace(on.low, on.high, 101)))
    points = np.vstack([inside[: SAMPLES // 2], edge[: SAMPLES // 2], np.array(corners)])
    de, dr, w, c, flowed, d = points.T
    ar = (dr + w) * w
    liner = flowed * (dr + tube.liner_mm) * tube.liner_mm
    inner = np.maximum(d, dr)
    a = 1 + c * (de - inner) / (de - dr)
    before = np.sqrt(de**2 + 4 * ar * (1 + c))
    after = np.sqrt(inner**2 + 4 * (ar - liner) * (1 + c) / a)
    s, s0 = after / before, np.sqrt(dr**2 + 4 * (ar - liner)) / before
    low = {"even": s, "unmarked side first": s, "any": np.maximum(s0, 2 * s - 1)}[heating]
    high = s if heating == "even" else np.minimum(1, 2 * s - s0)
    return {"s": s, "low": low, "high": high, "a": a, "outside": after, "squeeze high": a / low,
            "squeeze low": a / high, "arc": 2 * high / after}  # fmt: skip


@pytest.mark.parametrize("case", spread(range(CASES), 50))
def test_no_sample_is_outside_and_the_ends_are_reached(case: int) -> None:
    rng = random.Random(case)
    tube = rng.choice(TUBES)
    heating = rng.choice(["even", "unmarked side first", "any"])
    over, under = rng.choice([0.0, 0.08, 0.15]), rng.choice([0.0, 0.05])
    low = rng.uniform(tube.recovered_id_mm, tube.expanded_id_mm)
    on = Range(low, rng.uniform(low, tube.expanded_id_mm))
    chosen = settings(
        {"sleeve.expanded_oversize": over, "sleeve.recovered_undersize": under, "sleeve.heating": heating}
    )
    font = load_font("Atkinson Hyperlegible")
    answer = zone_on_tube(tube, on, chosen, needed_capital(400.0, chosen), font)
    got = brute_force(tube, on, over, under, heating, case)
    shrunk, zone = answer.shrunk, answer.zone
    flat = 3.0
    own = font.capital_width / font.capital
    reported = [
        (shrunk.circumferential_scale.low, got["s"].min(), -1),
        (shrunk.circumferential_scale.high, got["s"].max(), 1),
        (zone.scale.low, got["low"].min(), -1),
        (zone.scale.high, got["high"].max(), 1),
        (shrunk.along.low, got["a"].min(), -1),
        (shrunk.along.high, got["a"].max(), 1),
        (shrunk.outside_mm.low, got["outside"].min(), -1),
        (shrunk.outside_mm.high, got["outside"].max(), 1),
        (flat * zone.scale.low, (flat * got["low"]).min(), -1),  # capitals
        (np.radians(zone.arc_per_mm) * flat, (got["arc"] * flat).max(), 1),
        (zone.width_ratio.low, (own * got["squeeze low"] / zone.stretch).min(), -1),
        (zone.width_ratio.high, (own * got["squeeze high"] / zone.stretch).max(), 1),
    ]
    for value, sampled, sign in reported:
        assert sign * (sampled - value) <= 1e-4 * value  # none outside, to 0.01 %
        assert sign * (value - sampled) <= 0.01 * value  # reached within 1 %
