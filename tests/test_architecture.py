"""The shape of the package, measured from the imports of its modules, held to limits; `--help` starts nothing heavy.

    python tests/test_architecture.py

prints it. A name is a package or a module at the top of ``labeler/``. A connection is an ordered pair of names of which
one imports the other, once, however often. The layers are the names on the longest chain of imports. An import inside
a function or for types alone counts as any other. A module is a file with code; a docstring alone is none.
"""

from __future__ import annotations

import ast
import subprocess
import sys
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Set
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

import labeler

ROOT = Path(labeler.__file__).parent
TOP = ROOT.name

LIMITS = {
    "names": 25,
    "layers": 9,
    "connections": 119,
    "circles": 0,
    "modules": 115,
}

LAYERS: list[set[str]] = [
    {"errors", "formulas"},
    {"files", "model", "send"},
    {"codes", "harness", "record", "tables", "wording"},
    {"layout", "plan", "readers", "scan", "size", "text"},
    {"fitting", "validate", "work"},
    {"draw"},
    {"job"},
    {"answers", "proof"},
    {"api", "cli"},
]
"""From below: what stands in a layer imports only from layers before it, and not from its own."""

INSIDE: dict[str, list[set[str]]] = {
    "formulas": [
        {"check", "curvature", "interval", "legibility", "packing", "wire"},
        {"bundle", "shrink"},
    ],
    "layout": [{"cells"}, {"checks"}, {"place"}],
    "size": [{"bundles", "tubes"}, {"installation"}, {"seats"}],
    "fitting": [{"text"}, {"code"}, {"result"}, {"sleeve"}, {"film", "remedies"}, {"tag"}],
    "work": [{"sleeves", "wiring"}, {"branch_pages"}, {"wording"}, {"bench_sheet"}],
}
"""The same for the modules of a package; a package that does not stand here has its order from having no circle."""

HEAVY = ("pandas", "numpy", "reportlab", "sqlalchemy", "qrcode", "fontTools", "labeler.job")
"""What `--help` does not import."""

STAGES = {"readers", "validate", "plan", "size", "fitting", "codes", "layout", "work", "draw", "record"}
MEET = {"draw": {"layout", "work"}, "work": {"size"}}
"""Stages meet in the layers above them, but here: the bench sheet lists what was sized; it and the sheets are drawn."""

Graph = Mapping[str, Set[str]]


@dataclass(frozen=True, slots=True)
class Shape:
    """What was measured: which name and which module imports which."""

    names: Graph
    modules: Graph

    @property
    def connections(self) -> list[tuple[str, str]]:
        return sorted((name, other) for name, others in self.names.items() for other in others)

    @property
    def circles(self) -> list[list[str]]:
        return [sorted(knot) for knot in knots(self.modules) if len(knot) > 1]

    @property
    def chain(self) -> list[str]:
        """Return the names on the longest chain, from above; names in one circle stand together."""
        return max(chains(self.names).values(), key=len)

    def counts(self) -> dict[str, int]:
        return {
            "names": len(self.names),
            "layers": len(self.chain),
            "connections": len(self.connections),
            "circles": len(self.circles),
            "modules": len(self.modules),
        }


def code_in(file: Path) -> list[ast.stmt]:
    """Return the statements of a file after its docstring."""
    body = ast.parse(file.read_text("utf-8")).body
    first = body[0] if body else None
    is_docstring = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant)
    return body[1:] if is_docstring else body


def module_of(file: Path, root: Path) -> str:
    parts = [root.name, *file.relative_to(root).with_suffix("").parts]
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imports(module: str, is_package: bool, body: Iterable[ast.stmt], known: Set[str]) -> Iterator[str]:
    """Yield what the statements of a module import of the ``known`` modules, wherever in it they stand."""
    for node in (inner for statement in body for inner in ast.walk(statement)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names if alias.name in known)
        elif isinstance(node, ast.ImportFrom):
            above = module.split(".")[: len(module.split(".")) - node.level + is_package] if node.level else []
            source = ".".join([*above, *([node.module] if node.module else [])])
            for alias in node.names:
                whole = f"{source}.{alias.name}"
                if whole in known or source in known:
                    yield whole if whole in known else source


def measure(root: Path) -> Shape:
    """Return the shape of a package."""
    files = [file for file in sorted(root.rglob("*.py")) if file != root / "__main__.py"]  # `python -m` starts the cli
    found = {module_of(file, root): (file.name == "__init__.py", code_in(file)) for file in files}
    modules = {
        module: set(imports(module, is_package, body, found.keys())) - {module}
        for module, (is_package, body) in found.items()
        if body
    }
    names: dict[str, set[str]] = {name_of(module): set() for module in found if module != root.name}
    for module, others in modules.items():
        for other in others - {root.name}:
            if module != root.name and name_of(other) != name_of(module):
                names[name_of(module)].add(name_of(other))
    return Shape(names, {module: others & modules.keys() for module, others in modules.items()})


def name_of(module: str) -> str:
    return module.split(".")[1]


def knots(graph: Graph) -> list[set[str]]:
    """Return the parts of a graph in which everything reaches everything, what is imported first."""
    order: dict[str, int] = {}
    low: dict[str, int] = {}
    stack: list[str] = []
    done: list[set[str]] = []

    def visit(node: str) -> None:
        order[node] = low[node] = len(order)
        stack.append(node)
        for other in sorted(graph[node]):
            if other not in order:
                visit(other)
            if other in stack:
                low[node] = min(low[node], low[other])
        if low[node] == order[node]:
            at = stack.index(node)
            done.append(set(stack[at:]))
            del stack[at:]

    for node in sorted(graph):
        if node not in order:
            visit(node)
    return done


def chains(graph: Graph) -> dict[str, list[str]]:
    """Return the longest chain of imports that begins at each node; a circle is one link."""
    longest: dict[str, list[str]] = {}
    for knot in knots(graph):
        below = [longest[other] for node in sorted(knot) for other in sorted(graph[node] - knot)]
        chain = [" = ".join(sorted(knot)), *max(below, key=len, default=[])]
        longest |= dict.fromkeys(knot, chain)
    return longest


def wrong(graph: Graph, layers: list[set[str]]) -> list[str]:
    """Return a line for each import that does not go to a layer below, and for what stands in no layer or in two."""
    levels: dict[str, list[int]] = defaultdict(list)
    for level, layer in enumerate(layers):
        for name in layer:
            levels[name].append(level)
    lines = [f"{name} stands in {len(levels[name])} layers" for name in sorted(graph) if len(levels[name]) != 1]
    lines += [f"{name} stands in a layer and is not there" for name in sorted(levels.keys() - graph.keys())]
    for name, others in sorted(graph.items()):
        for other in sorted(others):
            if levels[name] and levels[other] and levels[other][0] >= levels[name][0]:
                lines.append(f"{name} imports {other}, which does not stand below it")
    return lines


def inside(shape: Shape, package: str) -> Graph:
    """Return which module of a package imports which; its ``__init__`` goes by that name."""
    own = f"{TOP}.{package}"

    def short(module: str) -> str:
        return module.removeprefix(f"{own}.") if module != own else "__init__"

    modules = {module: others for module, others in shape.modules.items() if f"{module}.".startswith(f"{own}.")}
    return {short(module): {short(other) for other in others & modules.keys()} for module, others in modules.items()}


@cache
def shape() -> Shape:
    return measure(ROOT)


def told() -> Iterator[str]:
    """Yield what was measured, in lines."""
    for what, count in shape().counts().items():
        yield f"{what:12} {count:4}   at most {LIMITS[what]}"
    yield f"chain        {' > '.join(shape().chain)}"
    yield from (f"circle       {', '.join(circle)}" for circle in shape().circles)
    levels = {name: len(chain) for name, chain in chains(shape().names).items()}
    for level in range(1, max(levels.values()) + 1):
        yield f"layer {level:<6} {' '.join(sorted(name for name in levels if levels[name] == level))}"
    for name, others in sorted(shape().names.items()):
        yield f"{name:12} {len(others):4}   {' '.join(sorted(others))}"
    for name in sorted(shape().names):
        levels = {module: len(chain) for module, chain in chains(inside(shape(), name)).items()}
        order = [
            " ".join(sorted(m for m in levels if levels[m] == n + 1)) for n in range(max(levels.values(), default=0))
        ]
        if len(order) > 1:
            yield f"{name:12}      {' < '.join(order)}"


@pytest.mark.parametrize("what", LIMITS)
def test_the_shape_keeps_to_its_limits(what: str) -> None:
    print(*told(), sep="\n")
    assert shape().counts()[what] <= LIMITS[what]


def test_imports_go_to_layers_below() -> None:
    assert wrong(shape().names, LAYERS) == []


@pytest.mark.parametrize("name", sorted(STAGES))
def test_stages_meet_above_them_alone(name: str) -> None:
    assert shape().names[name] & STAGES <= MEET.get(name, set())


@pytest.mark.parametrize("package", sorted(INSIDE))
def test_imports_inside_a_package_go_to_layers_below(package: str) -> None:
    assert wrong(inside(shape(), package), INSIDE[package]) == []


@pytest.fixture
def small(tmp_path: Path) -> Path:
    """Return a package of which everything is known: drawn up by hand for these tests."""
    root = tmp_path / "boat"
    files = {
        "__init__.py": '"""Nothing but this."""\n',
        "hull.py": "import os\n",
        "deck/__init__.py": '"""Nothing but this."""\n',
        "deck/mast.py": "from boat.hull import os\nfrom boat.deck import sail\n",
        "deck/sail.py": "def hoist():\n    import boat.deck.boom as boom\n    return boom\n",
        "deck/boom.py": "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from .mast import os\n",
        "crew/__init__.py": "from boat.deck.mast import os\nfrom .. import hull\n",
    }
    for name, text in files.items():
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_text(text, "utf-8")
    return root


def test_what_is_measured(small: Path) -> None:
    """Counted by eye: three connections, the circle mast > sail > boom > mast, five files with code."""
    found = measure(small)
    assert found.counts() == {"names": 3, "layers": 3, "connections": 3, "circles": 1, "modules": 5}
    assert found.connections == [("crew", "deck"), ("crew", "hull"), ("deck", "hull")]
    assert found.circles == [["boat.deck.boom", "boat.deck.mast", "boat.deck.sail"]]
    assert found.chain == ["crew", "deck", "hull"]


def test_a_wrong_direction_is_found(small: Path) -> None:
    names = measure(small).names
    assert wrong(names, [{"hull"}, {"deck"}, {"crew"}]) == []
    assert wrong(names, [{"deck"}, {"hull"}, {"crew"}]) == ["deck imports hull, which does not stand below it"]
    assert wrong(names, [{"hull"}, {"deck", "crew"}]) == ["crew imports deck, which does not stand below it"]
    assert wrong(names, [{"hull"}, {"deck"}, {"keel"}]) == [
        "crew stands in 0 layers",
        "keel stands in a layer and is not there",
    ]


def test_help_imports_nothing_heavy() -> None:
    code = (
        "import sys\nfrom labeler.cli.main import main\n"
        "try: main(['--help'])\nexcept SystemExit: pass\n"
        f"print([name for name in {HEAVY!r} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


if __name__ == "__main__":
    print(*told(), sep="\n")
