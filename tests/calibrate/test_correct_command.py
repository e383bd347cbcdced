"""A station's bias taken out by a revision: from its checks to its file, the store, the measures, and back."""

import json
from contextlib import closing
from dataclasses import replace
from hashlib import sha256
from types import SimpleNamespace

import pytest

from app.store.database.definitions import station_record, unpack
from app.store.database.schema import station as filed_stations
from app.store.evidence.verify import verify
from app.works.folder import new_works
from tests.calibrate.test_check_command import PART, REFERENCE, STATION
from tests.outline import blank
from vision.errors import Unusable
from vision.formats.checks_file import Check, append_check
from vision.formats.corrections import check_corrections
from vision.formats.result import read_result, write_result
from vision.formats.station import read_station
from vision.formats.station_update import update_station
from vision.pipeline import measure_tray
from vision.records.corrections import CorrectedValue, Correction
from vision.records.judged import TrayResult

SHORT = Correction("TS-135", 1, "A. Weber", "rounder rims", "2026-11-02T06:00:00+00:00", ())


@pytest.fixture
def works(tmp_path, run):  # type: ignore[no-untyped-def]
    """A works with a reference piece; `check(length)` adds a check of the station as it is; `call(...)` corrects."""
    place = new_works(tmp_path / "works", "Aldermoor Flatware Works")
    part = place.part_file("TS-135")
    part.parent.mkdir()
    part.write_text(PART)
    part.with_name("reference.toml").write_text(REFERENCE)
    file = place.station_file("ST-1")
    file.write_text("# the one by the window\n" + STATION)

    def check(length: float, width: float = 30.001) -> None:
        digest, values = sha256(file.read_bytes()).hexdigest(), {"length_mm": length, "width_mm.bowl": width}
        place.checks_file("ST-1").parent.mkdir(exist_ok=True)
        append_check(
            place.checks_file("ST-1"), Check("ST-1", digest, "REF-1", "2026-11-02T06:00:00Z", "stop", (), values)
        )

    def call(*words: str) -> tuple[int, str]:
        named = ["--works", str(place.folder), "--station", "ST-1", "--part", "TS-135", "--by", "A. Weber"]
        code, out, err = run("correct", *named, "--why", "rounder rims", *words)
        return code, out + err

    return SimpleNamespace(place=place, file=file, check=check, call=call)


def test_a_bias_is_taken_out_by_name_and_reason_and_put_back(works) -> None:  # type: ignore[no-untyped-def]
    for length in (134.96, 134.97, 134.965):
        works.check(length)
    code, said = works.call()
    assert code == 0, said
    assert "length_mm: +0.055 from now on" in said
    (first,) = read_station(works.file).corrections
    assert (first.part, first.revision, first.by, first.why) == ("TS-135", 1, "A. Weber", "rounder rims")
    # The width is off by 1 um, with 4 of uncertainty: it is left as it is. Of the length the certificate is uncertain
    # by 3 um, the mean of three layings by 4 / sqrt(3).
    assert first.values == (CorrectedValue("length_mm", None, -0.055, pytest.approx((9 + 16 / 3) ** 0.5 / 1000)),)
    assert works.file.read_text().startswith("# the one by the window")
    code, said = works.call()
    assert code == 2
    assert "a check of ST-1 as it is now" in said
    works.check(135.04)
    assert works.call()[0] == 0
    assert works.call("--withdraw")[0] == 0
    assert [(one.revision, [value.off for value in one.values]) for one in read_station(works.file).corrections] == [
        (1, [-0.055]),
        (2, [-0.035]),
        (3, []),
    ]
    code, said = works.call("--withdraw")
    assert code == 2
    assert "a correction to withdraw" in said
    with closing(works.place.open()) as store:
        with store.read() as connection:
            bodies = list(connection.execute(filed_stations.select()))
        assert [len(station_record(unpack(row.body)).corrections) for row in bodies] == [1, 2, 3]
        assert (verify(store, None).head.links, verify(store, None).broken) == (3, ())


def test_nothing_is_taken_out_that_may_be_nothing(works) -> None:  # type: ignore[no-untyped-def]
    works.check(135.026)
    code, said = works.call()
    assert code == 2
    assert "checks that show a bias beyond its uncertainty" in said
    assert read_station(works.file).corrections == ()


def test_measures_are_less_by_the_bias_and_their_uncertainty_holds_its_own() -> None:
    values = (
        CorrectedValue("length_mm", None, -0.02, 0.004),
        CorrectedValue("outline_out_mm", "body", 0.5, 0.003),
    )
    pictures, part = blank.pictures(), blank.part()
    plain = measure_tray(pictures, part, blank.STATION)
    corrected = measure_tray(
        pictures, part, replace(blank.STATION, corrections=(replace(SHORT, values=values), replace(SHORT, part="X")))
    )
    assert plain.correction is None
    assert corrected.correction is not None
    (before,), (after,) = plain.pieces, corrected.pieces
    assert after.measures["length_mm"] == pytest.approx(before.measures["length_mm"] + 0.02)
    assert after.measures["outline_out_mm"] == {"body": 0.0}
    assert after.uncertainties["length_mm"] == pytest.approx((before.uncertainties["length_mm"] ** 2 + 16e-6) ** 0.5)
    assert after.uncertainty_components["length_mm"][""].combined == pytest.approx(after.uncertainties["length_mm"])
    assert after.measures["width_mm"] == before.measures["width_mm"]
    withdrawn = replace(blank.STATION, corrections=(replace(SHORT, values=values), replace(SHORT, revision=2)))
    assert measure_tray(pictures, part, withdrawn).pieces[0].measures == before.measures


def test_a_result_names_its_correction(tmp_path) -> None:  # type: ignore[no-untyped-def]
    made = replace(SHORT, values=(CorrectedValue("width_mm", "bowl", -0.01, 0.002),))
    result = TrayResult("example", "T-1", None, "TS-135", "ST-1", None, 1, (), (), correction=made)
    write_result(result, tmp_path / "result.json")
    assert read_result(tmp_path / "result.json") == result
    told = json.loads((tmp_path / "result.json").read_text())["correction"]
    assert (told["by"], told["why"], told["value"][0]["off"]) == ("A. Weber", "rounder rims", -0.01)
    station = replace(blank.STATION, corrections=(made,))
    update_station(station, tmp_path / "station.toml", ())
    assert read_station(tmp_path / "station.toml").corrections == (made,)


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"revision": 2}, "revision 1 of TS-135 expected next, found 2"),
        ({"by": ""}, "by"),
        ({"values": (CorrectedValue("scratch_count", None, 1.0, 0.1),)}, "a measure of the outline expected"),
        ({"values": (CorrectedValue("width_mm", None, 0.01, 0.0),)}, "the zone of width_mm expected"),
        ({"values": (CorrectedValue("length_mm", "bowl", 0.01, 0.0),)}, "no zone with length_mm expected"),
        ({"values": (CorrectedValue("length_mm", None, 0.01, 0.0),) * 2}, "length_mm once expected, found twice"),
    ],
)
def test_a_wrong_correction_is_refused(tmp_path, wrong, told) -> None:  # type: ignore[no-untyped-def]
    station = replace(blank.STATION, corrections=(replace(SHORT, **wrong),))
    update_station(station, tmp_path / "station.toml", ())
    with pytest.raises(Unusable, match=told):
        read_station(tmp_path / "station.toml")


def test_a_zone_that_the_part_lacks_is_refused(tmp_path) -> None:  # type: ignore[no-untyped-def]
    made = replace(SHORT, values=(CorrectedValue("width_mm", "bowl", 0.01, 0.0),))
    with pytest.raises(Unusable, match="a zone of TS-135 expected: body"):
        check_corrections(blank.part(), replace(blank.STATION, corrections=(made,)), tmp_path / "station.toml")
