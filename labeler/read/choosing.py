"""Which things of an export a choice of modules, variants and options keeps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from labeler.errors import Problem, Where, WrongUse
from labeler.read.account import some
from labeler.read.cad import Export, Notes, Variant
from labeler.read.variants import unknown_variant

CHOOSE = "choose with --variant NAME"


@dataclass(frozen=True, slots=True)
class Chosen:
    """Which keys a choice of variants keeps."""

    allowed: frozenset[str] | None  # None: no list was chosen, so all
    listed: frozenset[str]  # by any variant
    excluded: frozenset[str]  # constrained to variants that were not chosen

    def keeps(self, *groups: frozenset[str]) -> bool:
        """Whether something is in: the first group of its keys that any variant lists decides."""
        if any(group & self.excluded for group in groups):
            return False
        if self.allowed is None:
            return True
        return next((bool(group & self.allowed) for group in groups if group & self.listed), False)


def chosen_variants(export: Export, source: str, wanted: Sequence[str], notes: Notes, left: list[str]) -> Chosen:
    """Return what the wanted variants keep; without any, all, and it is said.

    Raises WrongUse for a variant that is not there, or lists nothing.
    """
    variants = export.variants
    constrained = frozenset[str]().union(*(v.members for v in variants if v.constraint))
    listed = frozenset[str]().union(*(v.members for v in variants if not v.constraint))
    if not wanted:
        if len(variants) > 1:
            names = some([v.names[0] for v in variants])
            message = f"holds {len(variants)} modules or variants ({names}) and is read unfiltered (150 %)"
            notes.add(message, CHOOSE, Where(source), "all of them")
        return Chosen(None, listed, frozenset())
    found = [_named(export, name, source) for name in wanted]
    for variant in found:
        if not variant.members:
            message = f"variant {variant.names[0]!r} lists nothing"
            raise WrongUse(Problem(Where(source), message, f"choose its modules: {known_variants(export)}"))
    lists = [v.members for v in found if not v.constraint]
    options = [v.members for v in found if v.constraint]
    if listed and not lists:
        notes.add("modules are not filtered: only options were chosen", CHOOSE, Where(source), "all of them")
    if constrained and not options:
        notes.add("options are not filtered: only modules were chosen", CHOOSE, Where(source), "all of them")
    excluded = constrained - frozenset[str]().union(*options) if options else frozenset[str]()
    return Chosen(frozenset[str]().union(*lists) if lists else None, listed, excluded)


def known_variants(export: Export) -> str:
    """Return the names that may be chosen, the first twenty."""
    return some((v.names[0] for v in export.variants), 20)


def _named(export: Export, name: str, source: str) -> Variant:
    found = [v for v in export.variants if name.casefold() in (n.casefold() for n in v.names)]
    if not found:
        raise WrongUse(unknown_variant(name, [v.names[0] for v in export.variants], source))
    if len(found) > 1:
        message = f"{name!r} names {len(found)} variants: {some(v.names[0] for v in found)}"
        raise WrongUse(Problem(Where(source), message, "name one by its part number or id"))
    return found[0]
