"""What every part of the VEC reader needs: the documents in scope, components and roles, values and texts."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from labeler.errors import LabelerError, Problem, Where, WrongUse
from labeler.read.account import some
from labeler.read.cad import SI_PREFIX, Links, measure, unique_doubles
from labeler.read.xml import Document, Element

KNOWN = re.compile(r"1\.[12]\.\d+|2\.[0-2]\.\d+")
MM_PER_US = {"inch": 25.4, "foot": 304.8, "thou": 0.0254, "yard": 914.4}  # exact: international inch


class VecFile:
    """One VEC, with its harness chosen: only what stands in its documents counts as the harness."""

    def __init__(self, document: Document, wanted: str) -> None:
        self.document = document
        self.links = Links(document)
        self.notes = self.links.notes
        unique_doubles(document, self.notes)
        self.version = self._version()
        self.scope, self.harness = self._scope(wanted)
        self.specs: dict[str, list[Element]] = {}
        for holder in self.scope:
            for spec in holder.all("Specification"):
                self.specs.setdefault(spec.kind, []).append(spec)
        self.components = [c for spec in self.specs.get("CompositionSpecification", ()) for c in spec.all("Component")]
        self.component_of = {role.key: c for c in self.components for role in c.all("Role")}

    def _version(self) -> str:
        root = self.document.root
        given = root.said("VecVersion")
        if not KNOWN.fullmatch(given):
            message = f"VecVersion {given!r} is not known, read as 2.2"
            self.notes.add(message, "check the counts", self.links.where(root), "root")
        return given or "of no stated version"

    def _scope(self, wanted: str) -> tuple[list[Element], Element]:
        """Return the documents to read and the one of the harness; raises LabelerError where that is left open."""
        every = self.document.root.all("DocumentVersion")
        found = [d for d in every if d.said("DocumentType").casefold() == "harnessdescription"]
        source = self.document.source
        names = [self.name_of(d) for d in found]
        if wanted:
            chosen = [d for d, name in zip(found, names, strict=True) if wanted.casefold() == name.casefold()]
            if len(chosen) != 1:
                raise WrongUse(
                    Problem(Where(source), f"no single harness {wanted!r}", f"it has {some(names) or 'none'}")
                )
            others = {d.key for d in found} - {chosen[0].key}
            return [d for d in every if d.key not in others], chosen[0]
        if len(found) > 1:
            message = f"holds {len(found)} harnesses: {some(names, 20)}; which one is meant is not guessed"
            raise LabelerError(Problem(Where(source), message, f"choose one, as in --sheet {names[0]!r}"))
        holders = found or [d for d in every if any(s.kind == "CompositionSpecification" for s in d.children)]
        if not holders:
            fix = "export the harness, not only its parts"
            raise LabelerError(Problem(Where(source), f"VEC {self.version} without a harness", fix))
        return every, holders[0]

    def name_of(self, document: Element) -> str:
        """Return how a document is called: number, and version where it has one."""
        return " ".join(filter(None, (document.said("DocumentNumber"), document.said("DocumentVersion"))))

    def each(self, kind: str, tag: str) -> Iterator[Element]:
        """Yield the children of a name in all specifications of a kind."""
        for spec in self.specs.get(kind, ()):
            yield from spec.all(tag)

    def roles(self, component: Element, kind: str) -> list[Element]:
        """Return the roles of a kind that a component plays."""
        return [role for role in component.all("Role") if role.kind == kind]

    def owner(self, keys: Iterable[str]) -> Element | None:
        """Return the component of the first of these roles that belongs to one."""
        return next((self.component_of[key] for key in keys if key in self.component_of), None)

    # ------------------------------------------------------------ texts and values

    def words(self, element: Element, tag: str) -> str:
        """Return a text in English, else German, else the first; plain text counts too."""
        given = {(c.said("LanguageCode").casefold() or "-"): c.said("Value") for c in element.all(tag)}
        best = given.get("en") or given.get("de") or next(filter(None, given.values()), "")
        return best or element.said(tag)

    def alias(self, element: Element) -> str:
        """Return the first alias."""
        return next((found for a in element.all("AliasId") if (found := a.said("IdentificationValue"))), "")

    def length(self, holder: Element | None, tag: str) -> float | None:
        """Return a value in mm, None where it is missing or in no unit of length."""
        return self.amount(holder.first(tag) if holder is not None else None)

    def amount(self, value: Element | None, square: bool = False) -> float | None:
        """Return a value in mm or mm2, None where it is missing or in another unit."""
        number = measure(value.said("ValueComponent")) if value is not None else None
        if value is None or number is None:
            return None
        unit = self.document.ids.get(value.said("UnitComponent"))
        factor = self._factor(unit, 2 if square else 1)
        if not factor:
            message = f"values whose unit is not one of {'area' if square else 'length'} and that are passed over"
            self.notes.add(message, "export it with the units", self.links.where(value), value.said("UnitComponent"))
            return None
        return number * factor

    def _factor(self, unit: Element | None, exponent: int) -> float:
        if unit is None or unit.tag != "Unit":
            return 0.0
        if unit.kind in ("USUnit", "ImperialUnit"):
            name = (unit.said("UsUnitName") or unit.said("ImperialUnitName")).casefold()
            one = MM_PER_US.get(name, 0.0)
        else:
            metre = unit.said("SiUnitName").casefold() in ("metre", "meter")
            one = 1000.0 * SI_PREFIX.get(unit.said("SiPrefix").casefold(), 0.0) if metre else 0.0
        power = measure(unit.said("Exponent")) or 1.0
        return one**exponent if power == exponent else 0.0

    def size(self, conductor: Element | None) -> str:
        """Return the size of a conductor, ``0.35 mm2`` or, where its unit is AWG, ``20 AWG``; ``""`` where missing."""
        value = conductor.first("CrossSectionArea") if conductor is not None else None
        if value is None:
            return ""
        unit = self.document.ids.get(value.said("UnitComponent"))
        number = measure(value.said("ValueComponent"))
        if unit is not None and unit.said("UsUnitName").casefold() == "awg" and number is not None:
            gauge = int(number) if number.is_integer() else 99
            if -3 <= gauge <= 40:
                return f"{gauge} AWG" if gauge > 0 else f"{1 - gauge}/0 AWG"
            message = "sizes in AWG that are no gauge and are passed over"
            self.notes.add(message, "give 4/0 (-3) to 40 AWG, or mm2", self.links.where(value), f"{number:g}")
            return ""
        area = self.amount(value, square=True)
        return f"{area:g} mm2" if area and area > 0 else ""
