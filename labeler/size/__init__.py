"""Size: from wires to the diameters a marker meets, the way on, and the tubes that pass and close there."""

from labeler.size.bundles import Bundle, branch_bundle, bundle, end_seat, wire_diameter, wire_seat
from labeler.size.order import threading
from labeler.size.tubes import choose_tubes

__all__ = [
    "Bundle",
    "branch_bundle",
    "bundle",
    "choose_tubes",
    "end_seat",
    "threading",
    "wire_diameter",
    "wire_seat",
]
