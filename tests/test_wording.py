"""Wording: each fact that the program states has a form with exactly its values, and each form is used."""

import ast
from pathlib import Path
from string import Formatter

import pytest

import labeler
from labeler.model import Fact, fact
from labeler.wording import FORMS, sentence

FILES = sorted(Path(labeler.__file__).parent.rglob("*.py"))


def stated() -> dict[str, list[tuple[str, set[str] | None]]]:
    """Return by kind where the source states a fact, and its values by name: None where it passes a mapping on."""
    found: dict[str, list[tuple[str, set[str] | None]]] = {}
    for file in FILES:
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "fact" and node.args:
                names = {each.arg for each in node.keywords if each.arg}
                whole = all(each.arg for each in node.keywords)
                kinds = [str(each.value) for each in ast.walk(node.args[0]) if isinstance(each, ast.Constant)]
                for kind in kinds:
                    found.setdefault(kind, []).append((f"{file.name}:{node.lineno}", names if whole else None))
    return found


def values_of(kind: str) -> set[str]:
    """Return the names of the values that a form takes."""
    form = FORMS[kind]
    if isinstance(form, str):
        return {name for _, name, _, _ in Formatter().parse(form) if name}
    code = form.__code__
    return set(code.co_varnames[: code.co_argcount])


def test_every_fact_that_is_stated_has_a_form_with_its_values() -> None:
    seen = stated()
    assert len(seen) > 60
    for kind, places in seen.items():
        assert kind in FORMS, places
        for place, names in places:
            assert names is None or names == values_of(kind), (kind, place)


def test_every_form_is_used() -> None:
    words = {
        node.value
        for file in FILES
        if file.name != "wording.py"
        for node in ast.walk(ast.parse(file.read_text("utf-8")))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }
    assert set(FORMS) <= words


@pytest.mark.parametrize(
    ("stated", "text"),
    [
        (fact("height", capital=1.005), "1.00 mm"),
        (fact("limited by arc", lines=1, arc=120.0), "one line may cover 120°"),
        (fact("limited by arc", lines=3, arc=120.0), "3 lines may cover 120°"),
        (fact("stand-in font", font="A", usual="B", lacking=("Ω", "µ")), "set in A, as B has no Ω, µ"),
        (
            fact("tube refused", tube="X", why=(fact("height", capital=1.0), fact("height", capital=2.0))),
            "X: 1.00 mm; 2.00 mm",
        ),
        (
            fact("shorter text", text="{lines}", reached=fact("height", capital=1.0)),
            "shorten the text to '{lines}': 1.00 mm",
        ),
    ],
)
def test_a_fact_is_worded_with_its_numbers_and_the_facts_in_it(stated: Fact, text: str) -> None:
    assert sentence(stated) == text
