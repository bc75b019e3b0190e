"""The unit of pages: a millimetre in points, for everything that is drawn."""

POINTS_PER_MM = 72 / 25.4  # a point is 1/72 in (DOD-HDBK-791 6-5.3.2)
