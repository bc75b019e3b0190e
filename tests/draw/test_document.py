"""The one module that touches the inside of the PDF library: each thing it relies on, read back by another program."""

from __future__ import annotations

import ast
import io
from pathlib import Path
from typing import Any

import pypdf
import pytest

import labeler
from labeler.draw.document import Document, embedded_name
from labeler.draw.typeset import BOLD, PLAIN

ROOT = Path(labeler.__file__).parent
WRAPPER = "draw/document.py"
PUBLIC = {  # what other modules may import of the library
    "draw/bench.py": {"reportlab.pdfgen.canvas"},  # the type of its drawing surface, for annotations
    "draw/flow.py": {"reportlab.pdfgen.canvas"},
    "draw/picture.py": {"reportlab.pdfgen.canvas"},
    "draw/typeset.py": {"reportlab.pdfgen.canvas"},
    "text.py": {"reportlab.pdfbase.ttfonts"},  # whether it can embed a font of the user's own
}
SOURCES = {file.relative_to(ROOT).as_posix(): ast.parse(file.read_text("utf-8")) for file in ROOT.rglob("*.py")}
NAMED_TUPLE = {"_replace", "_asdict", "_fields", "_make"}  # public in spite of the underscore


def read(document: Document) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(document.data()))


def content(reader: pypdf.PdfReader, page: int = 0) -> str:
    found = reader.pages[page].get_contents()
    assert found is not None
    return found.get_data().decode("latin-1")


# ---------------------------------------------------------------- nobody else touches it


@pytest.mark.parametrize("name", [name for name in SOURCES if name != WRAPPER])
def test_no_other_module_imports_more_of_the_library_than_it_may(name: str) -> None:
    imports = {
        module
        for node in ast.walk(SOURCES[name])
        for module in (
            [node.module or ""]
            if isinstance(node, ast.ImportFrom)
            else [alias.name for alias in node.names]
            if isinstance(node, ast.Import)
            else []
        )
        if module.split(".")[0] == "reportlab"
    }
    assert imports <= PUBLIC.get(name, set()), f"{name}: what it needs of reportlab belongs in {WRAPPER}"


@pytest.mark.parametrize(
    "name", [name for name in SOURCES if name.startswith(("draw/", "layout/", "proof/")) and name != WRAPPER]
)
def test_no_other_module_touches_anothers_private_names(name: str) -> None:
    """``canvas._code`` and the like: only ``self`` and ``cls`` have private names."""
    touched = [
        f"line {node.lineno}: {ast.unparse(node)}"
        for node in ast.walk(SOURCES[name])
        if isinstance(node, ast.Attribute)
        and node.attr.startswith("_")
        and not node.attr.startswith("__")
        and node.attr not in NAMED_TUPLE
        and not (isinstance(node.value, ast.Name) and node.value.id in ("self", "cls"))
    ]
    assert not touched, f"{name}: give {WRAPPER} a function with a plain name for it"


# ---------------------------------------------------------------- what it relies on


def test_a_page_is_compressed_as_it_ends() -> None:
    """Of a page of 100,000 signs no more than a hundredth is kept, and it reads back as it was written."""
    document = Document("t", PLAIN)
    operators = "0 0 m 10 10 l S\n" * 6250
    document.write(operators)
    document.end_page()
    page = document.canvas._doc.Pages.pages[-1]
    assert page.stream == "", "canvas._doc.Pages.pages[-1].stream: pages stay uncompressed in memory if this goes"
    assert len(page.Contents.content) < 1000, "page.Contents is no PDFStream any more: pages would be empty"
    assert content(read(document)).count("0 0 m 10 10 l S") == 6250, "page.Contents is not written: pages are empty"


def test_the_file_is_bytes_and_the_librarys_setting_stays_as_it_was() -> None:
    from reportlab import rl_config

    before = rl_config.useA85
    document = Document("t", PLAIN)
    document.write("0 0 m 10 10 l S")
    document.add_form("box", (0, 0, 10, 10), "0 0 10 10 re f")
    document.end_page()
    data = document.data()
    assert b"ASCII85Decode" not in data, "rl_config.useA85 is not heeded: files grow by a quarter if this goes"
    assert rl_config.useA85 == before


def test_a_form_is_listed_by_the_page_that_draws_it() -> None:
    document = Document("t", PLAIN)
    document.add_form("box", (0, 0, 10, 10), "0 0 10 10 re f")
    document.write(f"q 2 0 0 2 5 5 cm {document.form_operator('box')} Q")
    document.list_form("box")
    document.end_page()
    document.write("0 0 m 10 10 l S")
    document.end_page()
    reader = read(document)
    (name,) = [word for word in content(reader).split() if word.startswith("/") and "box" in word]
    first: Any = reader.pages[0]["/Resources"]
    assert name in first.get("/XObject", {}), "canvas._formsinuse: codes that come again are missing if this goes"
    assert b"0 0 10 10 re f" in first["/XObject"][name].get_data(), "document.getXObjectName: another form is drawn"
    second: Any = reader.pages[1]["/Resources"]
    assert "/XObject" not in second


def test_what_is_drawn_on_the_canvas_becomes_operators_in_their_turn() -> None:
    document = Document("t", PLAIN)
    document.write("1 1 m 2 2 l S")
    drawn = document.operators_of(lambda canvas: canvas.rect(3, 3, 4, 4))
    document.write("5 5 m 6 6 l S")
    document.write(drawn)
    document.end_page()
    assert "3 3 4 4 re" in drawn, "canvas._code: the pictures of branches are missing if this goes"
    found = content(read(document))
    places = [found.index(words) for words in ("1 1 m", "5 5 m", "3 3 4 4 re")]
    assert places == sorted(places), "canvas._code: pictures of branches are drawn on the wrong page if this goes"
    assert found.count("3 3 4 4 re") == 1


def test_what_breaks_while_it_is_drawn_leaves_the_page_as_it_was() -> None:
    def fail(_: object) -> None:
        raise OSError("no ink")

    document = Document("t", PLAIN)
    document.write("1 1 m 2 2 l S")
    with pytest.raises(OSError, match="no ink"):
        document.operators_of(fail)
    document.end_page()
    assert "1 1 m 2 2 l S" in content(read(document))


@pytest.mark.parametrize("text", ["DEPTH J4", "(a\\b)", "ÄΩ°", "".join(map(chr, range(0x100, 0x180)))])
@pytest.mark.parametrize("name", [PLAIN, BOLD])
def test_text_is_encoded_as_the_library_encodes_it(name: str, text: str) -> None:
    """The library's own text object writes the same strings in the same parts of the font."""
    from labeler.draw.typeset import font_runs

    for font, run in font_runs(text, name):
        document = Document("t", PLAIN)
        document.canvas.setFont(embedded_name(font.name), 10)
        theirs = document.operators_of(lambda canvas, run=run: canvas.drawString(0, 0, run))  # type: ignore[misc]
        pieces = document.encoded(font.name, run)
        assert pieces
        for part, string in pieces:
            message = "TTFont.splitString or getSubsetInternalName: text is garbled or in a wrong font if these change"
            assert f"{part} 10 Tf" in theirs, message
            assert f"({string}) Tj" in theirs, message


def test_encoded_text_is_extracted_as_it_was() -> None:
    document = Document("t", PLAIN)
    for place, text in enumerate(("W101 (a\\b)", "DEPTH 10°", "W101 (a\\b)")):
        strings = " ".join(f"{part} 10 Tf ({string}) Tj" for part, string in document.encoded(PLAIN, text))
        document.write(f"BT 1 0 0 1 20 {200 - 20 * place} Tm {strings} ET")
    document.end_page()
    assert read(document).pages[0].extract_text().split("\n") == ["W101 (a\\b)", "DEPTH 10°", "W101 (a\\b)"]


def test_a_document_says_that_it_must_not_be_scaled_and_has_no_clock_in_it() -> None:
    def made() -> Document:
        document = Document("Boat", PLAIN)
        document.end_page()
        return document

    assert made().data() == made().data()
    root: Any = read(made()).trailer["/Root"]
    assert root["/ViewerPreferences"]["/PrintScaling"] == "/None"
