"""The proof: one page without a network, its pictures from the real sheets; opened in a browser where there is one."""

from __future__ import annotations

import base64
import re
import shutil
import subprocess
from io import BytesIO
from math import pi
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from labeler.cli.main import main
from labeler.formulas.curvature import View, seen
from labeler.model import Capital, Face, Fit, Marker, Run
from labeler.proof import _centred
from labeler.tables.catalogue import default_settings
from tests.places import EXAMPLES

BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")


def proof(tmp_path: Path, name: str, *words: str) -> str:
    out = tmp_path / "proof.html"
    done = CliRunner().invoke(main, ["proof", str(EXAMPLES / name), "--output", str(out), *words])
    assert done.exit_code == 0, done.output
    return out.read_text("utf-8")


def pictures(page: str) -> list[Any]:
    found = re.findall(r'src="data:image/png;base64,([^"]+)"', page)
    return [np.array(Image.open(BytesIO(base64.b64decode(one))).convert("L")) for one in found]


@pytest.fixture(scope="module")
def boat(tmp_path_factory: pytest.TempPathFactory) -> str:
    return proof(tmp_path_factory.mktemp("proof"), "survey-boat.toml")


def test_the_page_needs_nothing_else(boat: str) -> None:
    assert not re.findall(r'(?:src|href)="(?!data:)', boat)
    assert "http://" not in boat
    assert "https://" not in boat
    assert "@import" not in boat
    assert "url(" not in boat


def test_every_marker_has_its_pictures(boat: str) -> None:
    """69 markers: 7 lettered sleeves with 3 pictures, 54 wraps with 2 or 3, 8 tags (K3 has two) with 1."""
    cards = re.findall(r"<article.*?</article>", boat, re.DOTALL)
    assert len(cards) == 69
    assert sum("sleeve," in card for card in cards) == 7
    for card in cards:
        wanted = (3,) if "<p>sleeve," in card else (1,) if "<p>tag," in card else (2, 3)
        assert card.count("<img") in wanted
    assert all(picture.min() < 40 < 230 < picture.max() for picture in pictures(boat))  # print on white


def test_codes_are_read_in_the_pictures(boat: str) -> None:
    assert (
        boat.count("read: flat, at least 100% of its error correction unused") == 8
    )  # 7 bags, one of them with a tag for its pins
    assert "NOT READ" not in boat


def test_what_does_not_fit_is_shown_with_its_reasons(tmp_path: Path) -> None:
    page = proof(tmp_path, "misfits.toml")
    assert 'class="fail"' in page
    assert "STARBOARD WORK LIGHT" in page
    assert "to fix: slide it on before connector J20 is installed" in page


def test_a_page_that_exists_is_kept(tmp_path: Path) -> None:
    (tmp_path / "proof.html").write_text("mine")
    words = ["proof", str(EXAMPLES / "survey-boat.toml"), "--output", str(tmp_path / "proof.html")]
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 1
    assert (tmp_path / "proof.html").read_text() == "mine"
    assert CliRunner().invoke(main, [*words, "--force"]).exit_code == 0


@pytest.mark.skipif(BROWSER is None, reason="no chromium on this machine (apt install chromium)")
def test_it_opens_in_a_browser(boat: str, tmp_path: Path) -> None:
    """What the browser makes of the page: all cards, none of the pictures broken, the filter at work."""
    script = (
        "<style>article { content-visibility: visible !important }</style>"
        "<script>addEventListener('load', () => { const all = [...document.images];"
        "const broken = all.filter(i => !i.naturalWidth).length;"
        "const shape = all.filter(i => i.offsetWidth && Math.abs(i.offsetWidth / i.offsetHeight * i.naturalHeight /"
        " i.naturalWidth - 1) > 0.1).length;"
        "const cards = () => [...document.querySelectorAll('article')].filter(a => a.offsetHeight).length;"
        "const before = cards(); document.getElementById('pass').checked = false;"
        "document.body.dataset.found = [all.length, broken, shape, before, cards()].join(' '); })</script></body>"
    )
    page = tmp_path / "page.html"
    page.write_text(boat.replace("</body>", script), "utf-8")
    done = subprocess.run(
        [
            *(str(BROWSER), "--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={tmp_path / 'profile'}"),
            *("--virtual-time-budget=20000", "--dump-dom", page.as_uri()),
        ],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    found = re.search(r'data-found="([^"]+)"', done.stdout)
    assert found is not None
    count, broken, misshapen, before, hard = map(int, found[1].split())
    assert count == boat.count("<img")
    assert (broken, misshapen, before) == (0, 0, 69)
    assert hard == len(re.findall(r'<article class="(?:marginal|fail)', boat))


# ---------------------------------------------------------------- the projection


def test_a_stripe_is_seen_where_its_angle_says() -> None:
    """2 mm off the middle on 10 mm, scale 0.8: the angle is 1.6 / 5 rad, seen at 5 sin 0.32 = 1.573 mm."""
    pixel = 0.01
    flat = np.full((1200, 4), 255.0)
    flat[800 - 5 : 800 + 5] = 0.0  # 2 mm below the middle
    picture = seen(flat, pixel, View(1.0, 0.8, 10.0, 0.0, pixel), 128.0)
    dark = np.flatnonzero(picture[:, 2] < 64)
    assert (dark.mean() + 0.5 - picture.shape[0] / 2) * pixel == pytest.approx(5 * np.sin(0.32), abs=0.02)
    turned = seen(flat, pixel, View(1.0, 0.8, 10.0, 10 * pi / 180, pixel), 128.0)
    dark = np.flatnonzero(turned[:, 2] < 64)
    assert (dark.mean() + 0.5 - turned.shape[0] / 2) * pixel == pytest.approx(5 * np.sin(0.32 + pi / 18), abs=0.02)


def test_the_part_is_as_high_as_its_diameter_and_shrinks_along() -> None:
    picture = seen(np.full((100, 400), 255.0), 0.1, View(0.9, 0.7, 8.0, 0.0, 0.1), 100.0)
    assert (picture[:, 3] == 255.0).sum() == pytest.approx(80, abs=1)
    assert picture.shape[1] == 360


def test_a_wrap_is_shown_with_its_first_copy_in_the_middle() -> None:
    """Copies 3 mm apart on 10 mm: the upper one, capitals from 7.0 to 8.6 mm, has its middle at 7.8 mm.

    100 pixels are 10 mm, so that middle is 22 pixels below the top, 28 above the middle: 56 rows of white come on top.
    """
    run = Run("P1:1", "Atkinson Hyperlegible", 2.4, 1.0, 7.0)
    face = Face(25, 10, (run,), repeats=2, repeat_pitch_mm=3.0)
    marker = Marker("ID", "wrap", "wire end", "P1:1", ("P1:1",), True, default_settings())
    fit = Fit(marker, "pass", (), ("P1:1",), face=face, capital_height_mm=Capital(1.6, 1.6, 1.6, 1.27))
    flat = np.full((100, 250), 255.0)
    flat[22] = 0.0
    made = _centred(fit, flat, 254.0)
    assert made.shape == (156, 250)
    assert np.flatnonzero(made[:, 0] == 0).tolist() == [78]
