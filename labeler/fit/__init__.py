"""Fit: does the text of a marker read on its place after shrinking, and how is it set?"""

from labeler.fit.along import within_branches
from labeler.fit.on_stock import UNLIMITED, Room, room_of
from labeler.fit.sleeve import SleevePlace, fit_sleeve
from labeler.fit.strip import fit_flag, fit_insert
from labeler.fit.tag import fit_tag
from labeler.fit.ways import Change, Other, ways_out
from labeler.fit.wrap import fit_wrap, wrap_place

__all__ = [
    "UNLIMITED",
    "Change",
    "Other",
    "Room",
    "SleevePlace",
    "fit_flag",
    "fit_insert",
    "fit_sleeve",
    "fit_tag",
    "fit_wrap",
    "room_of",
    "ways_out",
    "within_branches",
    "wrap_place",
]
