"""The choices, look-ups in the shipped tables, and a shop's own folders."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from labeler.errors import LabelerError, SourceLocation
from labeler.model import Range, Settings
from labeler.tables.catalogue import (
    Catalogue,
    _load,
    default_settings,
    default_wire,
    load_catalogue,
    setting_specs,
    specs_of,
)
from labeler.tables.document import Document, load
from tests.places import ROOT


@pytest.fixture(autouse=True)
def no_folder_of_the_users(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("LABELER_STOCK", raising=False)
    monkeypatch.setattr("labeler.tables.catalogue._user_folder", lambda: tmp_path / "config")


SHIPPED = _load(())


# ---------------------------------------------------------------- choices


def test_the_choices_are_the_settings() -> None:
    assert set(setting_specs()) == set(Settings.keys())


def test_default_settings_have_the_types_that_settings_declare() -> None:
    settings = default_settings()
    assert settings.covering_wall_mm is None
    assert settings.sleeve.families == ("AS23053/5", "3:1 single wall")
    assert isinstance(settings.print.reading_distance_mm, float)


def test_every_choice_says_what_it_means_and_why() -> None:
    assert all(choice.description and choice.reason for choice in setting_specs().values())


def choices_with(tmp_path: Path, old: str, new: str) -> Document:
    text = (ROOT / "labeler/data/settings.toml").read_text(encoding="utf-8")
    assert old in text
    (tmp_path / "settings.toml").write_text(text.replace(old, new, 1), encoding="utf-8")
    return load(tmp_path / "settings.toml", "settings.toml")


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("[sleeve.heating]", "[sleeve.heatin]", "did you mean 'heating'"),
        ('type = "length"', 'type = "size"', "type is 'size'"),
        ('type = "length"', 'tpe = "length"', "did you mean 'type'"),
        ("default = 400", "default = 4", "print.reading_distance_mm: default 4"),
        ('default = "unmarked side first"', 'default = "front first"', "sleeve.heating: default 'front first'"),
        ("min = 50", 'min = "50"', "min is '50'; it must be a number"),
    ],
)
def test_a_choice_that_does_not_suit_is_refused(tmp_path: Path, old: str, new: str, message: str) -> None:
    with pytest.raises(LabelerError) as caught:
        specs_of(choices_with(tmp_path, old, new))
    assert message in str(caught.value)


# ---------------------------------------------------------------- look-ups


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("TXL", "SAE J1128 TXL"),
        ("txl", "SAE J1128 TXL"),
        ("FLRY", "ISO 6722-1 thin wall"),
        ("M22759/16", "SAE AS22759/16"),
        ("UL1007", "UL 1007"),
        ("sae  j1128 gxl", "SAE J1128 GXL"),
    ],
)
def test_aliases_and_case(name: str, kind: str) -> None:
    assert SHIPPED.wire_type(name).name == kind


def test_no_two_entries_answer_to_one_name() -> None:
    for entries in (SHIPPED.wire_types, SHIPPED.coverings):
        words = [word.casefold() for entry in entries for word in (entry.name, *entry.aliases)]
        assert len(words) == len(set(words))


def test_a_wire_that_names_only_its_size() -> None:
    assert (default_wire("20 AWG"), default_wire("0.5 mm2"), default_wire("")) == (
        "SAE J1128 TXL",
        "ISO 6722-1 thin wall",
        "",
    )
    assert SHIPPED.wire_diameter("", "20 AWG") == SHIPPED.wire_diameter("TXL", "20 AWG")
    assert SHIPPED.wire_diameter("", "0.75 mm2") == SHIPPED.wire_diameter("FLRY", "0.75 mm2")


def test_the_default_wires_are_known() -> None:
    for size in ("20 AWG", "0.5 mm2"):
        assert SHIPPED.wire_type(default_wire(size))


def test_the_default_settings_are_in_the_tables() -> None:
    settings = default_settings()
    assert SHIPPED.covering(settings.covering).name == settings.covering
    assert [SHIPPED.family(name).name for name in settings.sleeve.families] == list(settings.sleeve.families)


def refusal(call: Callable[[], object]) -> str:
    with pytest.raises(LabelerError) as caught:
        call()
    return str(caught.value)


def test_unknown_names_are_told_the_nearest() -> None:
    where = SourceLocation("boat.toml", 12)
    assert refusal(lambda: SHIPPED.tubes("AS2305/5", where)) == (
        "boat.toml:12: family of tube 'AS2305/5' is unknown; did you mean 'AS23053/5'?"
    )
    assert "did you mean 'braided sleeving'" in refusal(lambda: SHIPPED.covering("braided sleaving"))
    assert "did you mean 'SAE J1128 TXL'" in refusal(lambda: SHIPPED.wire_type("SAE J1128 TLX"))
    assert "tubes known: AS23053/5, 3:1 single wall" in refusal(lambda: SHIPPED.tubes("zzz"))
    shown = ", ".join(stock.name for stock in SHIPPED.stocks[:12])
    more = f"{shown} and {len(SHIPPED.stocks) - 12} more: labeler list stock lists them"
    assert len(SHIPPED.stocks) > 12
    assert refusal(lambda: SHIPPED.stock("zzz")).endswith(f"stock known: {more}")
    assert "stock known: none" in refusal(lambda: Catalogue().stock("zzz"))


def test_a_size_that_a_kind_lacks_lists_those_it_has() -> None:
    text = refusal(lambda: SHIPPED.wire_diameter("UL 1007", "8 AWG", SourceLocation("boat.csv", 3)))
    assert text.startswith(
        "boat.csv:3: UL 1007 has no 8 AWG; it has 28 AWG, 26 AWG, 24 AWG, 22 AWG, 20 AWG, 18 AWG, 16 AWG"
    )
    assert "UL 1015" in text
    assert "no wire size is given" in refusal(lambda: SHIPPED.wire_diameter("TXL", ""))
    assert "has no 50 mm2" in refusal(lambda: SHIPPED.wire_diameter("", "50 mm2"))
    assert "kind of wire '' is unknown" in refusal(lambda: SHIPPED.wire_diameter("", "thick"))


# ---------------------------------------------------------------- a shop's own tables

SLEEVES = """
[[family]]
name = "AS23053/5"
source = "measured on our shelf"
longitudinal_change = -0.03
sizes = [
  { name = "1/2", expanded_id_in = 0.5, recovered_id_in = 0.25, recovered_wall_mm = 0.6, lay_flat_width_mm = 20.6 },
  { name = "1/4", expanded_id_mm = "1/4 in", recovered_id_mm = "1/8 in", recovered_wall_mm = 0.6, min_recovered_wall_mm = 0.55 },
]
"""  # noqa: E501
WIRES_OWN = """
[[wire_type]]
name = "instrument cable core"
aliases = ["TXL"]
source = "measured"
sizes = [{ size = "20 AWG", nominal_mm = 1.5, tolerance_mm = 0.05 }]
"""
COVERINGS = """
[[covering]]
name = "river braid"
min_wall_mm = 0.4
max_wall_mm = 0.5
source = "measured"
"""
STOCK = """
kind = "sheet"
marker = "wrap"
description = "wraps"
page_width_mm = 100
page_height_mm = "6 in"
columns = 2
rows = 3
cell_width_mm = 25
cell_height_mm = 38
pitch_x_mm = 30
pitch_y_mm = 40
print_zone_mm = "1/2 in"
"""


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    (tmp_path / "layouts").mkdir()
    (tmp_path / "tubes.toml").write_text(SLEEVES, encoding="utf-8")
    (tmp_path / "wire_types.toml").write_text(WIRES_OWN, encoding="utf-8")
    (tmp_path / "coverings.toml").write_text(COVERINGS, encoding="utf-8")
    (tmp_path / "layouts/own wraps.toml").write_text(STOCK, encoding="utf-8")
    return tmp_path


def test_a_shops_tables_come_first_and_replace_by_name(shop: Path) -> None:
    catalogue = load_catalogue([shop])
    quarter, half = catalogue.tubes("AS23053/5")  # smallest first, whatever the file's order
    assert (quarter.expanded_id_mm, quarter.recovered_id_mm, quarter.min_recovered_wall_mm) == (6.35, 3.175, 0.55)
    assert (half.expanded_id_mm, half.lay_flat_width_mm, half.longitudinal_change) == (12.7, 20.6, -0.03)
    assert catalogue.families[0].name == "AS23053/5"
    assert catalogue.tubes("3:1 single wall") == SHIPPED.tubes("3:1 single wall")
    assert catalogue.coverings[0].name == "river braid"
    assert catalogue.stocks[0].name == "own wraps"
    assert catalogue.stock("own wraps").page_height_mm == pytest.approx(152.4)  # 6 x 25.4
    assert catalogue.stock("own wraps").print_zone_mm == 12.7


def test_a_shops_alias_comes_before_a_shipped_one(shop: Path) -> None:
    assert load_catalogue([shop]).wire_diameter("TXL", "20 AWG").range_mm == Range(1.45, 1.55)


def test_the_environment_names_folders(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LABELER_STOCK", str(shop))
    assert load_catalogue().coverings[0].name == "river braid"


def test_the_users_configuration_folder_is_found(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("labeler.tables.catalogue._user_folder", lambda: shop)
    assert load_catalogue().coverings[0].name == "river braid"


def test_the_first_of_two_folders_wins(shop: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
    other = tmp_path_factory.mktemp("other")
    (other / "coverings.toml").write_text(COVERINGS.replace("0.5", "0.9"), encoding="utf-8")
    assert load_catalogue([other, shop]).covering("river braid").wall_mm == Range(0.4, 0.9)
    assert load_catalogue([shop, other]).covering("river braid").wall_mm == Range(0.4, 0.5)


def test_the_same_folders_are_read_once(shop: Path) -> None:
    assert load_catalogue([shop]) is load_catalogue((shop,))


def test_a_folder_without_tables_is_refused(tmp_path: Path) -> None:
    assert "is no folder" in refusal(lambda: load_catalogue([tmp_path / "nowhere"]))
    assert "holds no table" in refusal(lambda: load_catalogue([tmp_path]))


WRONG = [
    (
        "tubes.toml",
        "recovered_id_in = 0.25",
        "recovered_id_in = 0.6",
        7,
        "recovered_id 15.24 mm is not below expanded_id",
    ),
    (
        "tubes.toml",
        "recovered_wall_mm = 0.6, lay",
        "recovered_wall_mm = 0, lay",
        7,
        "recovered_wall 0 mm and its limits",
    ),
    (
        "tubes.toml",
        "recovered_wall_mm = 0.6, lay",
        "recovered_wall_mm = -1, lay",
        7,
        "recovered_wall_mm is -1; it must be 0 to 100",
    ),
    (
        "tubes.toml",
        "recovered_wall_mm = 0.6, lay",
        "recovered_wall_mm = 0.6, liner_mm = 0.6, lay",
        7,
        "liner 0.6 mm is not below",
    ),
    ("tubes.toml", "lay_flat_width_mm = 20.6", "lay_flat_width_mm = 12.7", 7, "lay_flat_width 12.7 mm is too narrow"),
    ("tubes.toml", "lay_flat_width_mm", "layflat_width_mm", 7, "did you mean 'lay_flat_width_mm'?"),
    ("tubes.toml", "expanded_id_in = 0.5", 'expanded_id_in = "wide"', 7, "expanded_id_in is 'wide'; write a length"),
    (
        "tubes.toml",
        "expanded_id_in = 0.5",
        "expanded_id_in = true",
        7,
        "expanded_id_in is True; it must be a number",
    ),
    ("tubes.toml", "expanded_id_in = 0.5", "expanded_id_in = nan", 7, "expanded_id_in is nan"),
    ("tubes.toml", "expanded_id_in = 0.5", "expanded_id_in = 0x" + "f" * 300, 7, "expanded_id_in is 1"),
    ("tubes.toml", "expanded_id_in = 0.5", "expanded_id_in = 0.5, expanded_id_mm = 12.7", 7, "is given twice"),
    ("tubes.toml", "expanded_id_in = 0.5, ", "", 7, "expanded_id_mm is missing"),
    ("tubes.toml", 'name = "1/2"', 'name = "1/4"', 8, "AS23053/5 1/4 stands here twice"),
    ("tubes.toml", "-0.03", "0.03", 5, "longitudinal_change is 0.03; it must be -0.5 to 0"),
    ("tubes.toml", "[[family]]", "[[familie]]", 2, "did you mean 'family'?"),
    ("tubes.toml", "[[family]]", "[family]", 2, "write [[family]]"),
    ("tubes.toml", "source =", "source", 4, "is no TOML"),
    ("wire_types.toml", '"20 AWG"', '"20AWG"', 6, "'20AWG' is no wire size"),
    ("wire_types.toml", "nominal_mm = 1.5, tolerance_mm = 0.05", "max_mm = 1.5", 6, "the row gives no range"),
    (
        "wire_types.toml",
        "nominal_mm = 1.5,",
        "min_mm = 2, max_mm = 1.5,",
        6,
        "lowest 1.95 mm is above highest 1.55 mm",
    ),
    (
        "wire_types.toml",
        "nominal_mm = 1.5",
        "nominal_mm = 0.6",
        6,
        "finished diameter 0.65 mm is not above the bare",
    ),
    ("wire_types.toml", '["TXL"]', '"TXL"', 4, "aliases is 'TXL'; it must be a list of texts"),
    ("wire_types.toml", "sizes = [{", "sizes = [5, {", 6, "5 is no table"),
    (
        "coverings.toml",
        "min_wall_mm = 0.4",
        "min_wall_mm = 0.8",
        3,
        "min_wall 0.8 mm is above max_wall 0.5 mm",
    ),
    ("coverings.toml", 'source = "measured"', "", 3, "source is missing"),
]


@pytest.mark.parametrize(("file", "old", "new", "line", "message"), WRONG)
def test_what_cannot_be_is_refused_at_its_line(
    shop: Path, file: str, old: str, new: str, line: int, message: str
) -> None:
    path = shop / file
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    found = refusal(lambda: load_catalogue([shop]))
    assert message in found
    assert str(SourceLocation(str(path), line)) in found


def test_all_files_problems_come_at_once(shop: Path) -> None:
    (shop / "coverings.toml").write_bytes(b"\xff")
    (shop / "wire_types.toml").write_text("[[wire_type]]\nname = 5\n", encoding="utf-8")
    found = refusal(lambda: load_catalogue([shop])).splitlines()
    assert any("byte 1 is not UTF-8" in line for line in found)
    assert any("name is 5; it must be a text" in line for line in found)
    assert any("sizes is missing" in line for line in found)
