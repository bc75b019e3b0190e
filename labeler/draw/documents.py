"""What every document of ours asks of the PDF library: small files, and little memory while they grow."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas


@contextmanager
def plain_streams() -> Iterator[None]:
    """Leave compressed pages as bytes, without the library's wrapping in letters: smaller and faster."""
    from reportlab import rl_config

    before = rl_config.useA85
    rl_config.useA85 = 0
    try:
        yield
    finally:
        rl_config.useA85 = before


def compress_last(canvas: Canvas) -> None:
    """Compress the page that was ended last: the library keeps all pages as text until the document is saved."""
    import zlib

    from reportlab.pdfbase.pdfdoc import PDFArray, PDFDictionary, PDFName, PDFStream

    page = canvas._doc.Pages.pages[-1]
    packed = zlib.compress(page.stream.encode("utf-8"))
    page.Contents = PDFStream(PDFDictionary({"Filter": PDFArray([PDFName("FlateDecode")])}), packed)
    page.stream = ""
