"""Room along a branch for sleeves whose cut length is chosen; sums in the comments."""

from pathlib import Path

import pytest

from labeler.wording import sentence
from tests.orders import check

BOAT = """
[harness]
name = "Boat"
[defaults]
wire_type = "SAE J1128 TXL"
marker.wire = "none"
[[circuit]]
id = "W1"
from = "P1:1"
to = "J4:1"
size = "10 AWG"
[[branch]]
id = "B4"
length_mm = {length}
[[branch.end]]
at = "J4"
text = ["LONG TEXT J4"]
distance_from_connector_mm = {start}
[[branch.end]]
at = "P1"
text = ["P1"]
"""


@pytest.mark.parametrize(
    ("length", "start", "results"),
    [
        (500, 0, ["pass", "pass"]),
        # J4 takes 25 to 60 mm for its text, read as near as a wire, P1 at least 20
        (50, 10, ["fail", "fail"]),  # 10 + at least 25, and 20: either leaves too little
    ],
)
def test_chosen_lengths(tmp_path: Path, length: float, start: float, results: list[str]) -> None:
    file = tmp_path / "boat.toml"
    file.write_text(BOAT.format(length=length, start=start), "utf-8")
    fits = [fit for fit in check(str(file)).fits if fit.marker.role == "branch end"]
    cuts = [fit.cut_length_mm for fit in fits]
    assert cuts[0] >= 25
    assert [fit.result for fit in fits] == results
    if "fail" in results:
        reach = f"sleeve at J4 needs {start + cuts[0]:g} mm; the branch has {length} mm"
        assert sentence(fits[0].reasons[0]) == f"{reach}, the other sleeve takes {cuts[1]:g} mm"
