"""Size: from wires to the diameters a marker meets, the way on, and the tubes that pass and close there."""

from labeler.size.bundles import Bundle, branch_bundle, bundle, end_seat
from labeler.size.order import threading
from labeler.size.tubes import choose_tubes
from labeler.size.wires import Done, done_ends, wire_diameter, wire_seat

__all__ = [
    "Bundle",
    "Done",
    "branch_bundle",
    "bundle",
    "choose_tubes",
    "done_ends",
    "end_seat",
    "threading",
    "wire_diameter",
    "wire_seat",
]
