"""The variants of a VEC: part structures that list what is in them, and options that constrain elements."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from labeler.read.cad import Variant
from labeler.read.vecfile import VecFile
from labeler.read.xml import Element

MODULES = ("module", "variant", "configurableassembly")


def variants(file: VecFile) -> Iterator[Variant]:
    """Yield modules and variants by their parts' numbers, then options by their names."""
    whole = [s for s in file.specs.get("PartStructureSpecification", ()) if _content(s) == "harness"]
    listing = [s for s in file.specs.get("PartStructureSpecification", ()) if _content(s) in MODULES]
    options = {c.key: c for c in file.each("VariantConfigurationSpecification", "VariantConfiguration")}
    modules = _modules(file)
    named: set[str] = set()
    for spec in [*listing, *(whole if len(whole) > 1 else ())]:
        part = file.document.ids.get(spec.said("DescribedPart"))
        occurrences = [c for c in modules if part is not None and c.said("Part") == part.key]
        codes = [options[key] for c in occurrences for key in c.refs("ConfigInfo") if key in options]
        named |= {c.key for c in occurrences}
        names = [part.said("PartNumber") if part is not None else "", *(c.said("Identification") for c in occurrences)]
        names += [text for code in codes for text in _option_names(code)]
        members = _expanded(file, [*spec.refs("InBillOfMaterial"), *(c.key for c in occurrences)])
        yield Variant(_distinct([*names, spec.said("Identification"), spec.key]), members)
    if options:
        yield from _options(file, options, named)


def _options(file: VecFile, options: dict[str, Element], named: set[str]) -> Iterator[Variant]:
    """Yield the options that constrain elements themselves, not only a module that is listed already."""
    constrained: dict[str, list[str]] = {}
    for constraint in file.each("ConfigurationConstraintSpecification", "ConfigurationConstraint"):
        for key in constraint.refs("ConfigInfo"):
            constrained.setdefault(key, []).extend(constraint.refs("ConstrainedElements"))
    for element in file.document.ids.values():
        if element.tag != "ConfigurationConstraint" and element.key not in named:
            for key in element.refs("ConfigInfo"):
                constrained.setdefault(key, []).append(element.key)
    for key, members in constrained.items():
        if key in options:
            names = _distinct([*_option_names(options[key]), key])
            yield Variant(names, _expanded(file, members), constraint=True)


def _option_names(option: Element) -> list[str]:
    return [option.said(tag) for tag in ("Identification", "LogisticControlString", "LogisticControlExpression")]


def _modules(file: VecFile) -> list[Element]:
    return [c for c in file.components if any(r.kind == "PartWithSubComponentsRole" for r in c.all("Role"))]


def _expanded(file: VecFile, keys: Iterable[str]) -> frozenset[str]:
    """Return keys with all that their modules hold, whatever is nested in whatever."""
    found: set[str] = set()
    waiting = list(keys)
    while waiting:
        key = waiting.pop()
        element = file.document.ids.get(key)
        if key in found or element is None:
            continue
        found.add(key)
        for role in element.all("Role"):
            waiting += role.refs("SubComponent")
    return frozenset(found)


def _content(spec: Element) -> str:
    return spec.said("Content").casefold()


def _distinct(names: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(filter(None, names)))
