"""`brightbowl inspect` with a works folder: everything found by its place, and what was judged is in the store."""

import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from app.cli.inspect import _ready, command as inspect
from app.cli.render import command as render
from app.report.stamp import stamp_of
from app.store.lots.revisions import revisions
from app.store.results.recall import recall_results
from app.store.results.shown import newest_judgement, part_of, profile_of, shown, station_of
from app.works.folder import Works, new_works
from app.works.runs import runs_of


@pytest.fixture
def works(tmp_path: Path) -> Works:
    """A works with one rendered tray, not judged yet."""
    made = new_works(tmp_path / "works", "Aldermoor Flatware Works")
    drawn = tmp_path / "drawn"
    arguments = ["--out", str(drawn), "--trays", "1"]
    assert CliRunner().invoke(render, arguments, catch_exceptions=False).exit_code == 0
    made.part_file("TS-135").parent.mkdir()
    for name in ("part.toml", "outline.dxf"):
        shutil.copy(drawn / name, made.part_file("TS-135").with_name(name))
    shutil.copy(drawn / "station.toml", made.station_file("ST-1"))
    shutil.copy(drawn / "limits.toml", made.limits_file("TS-135"))
    for shot in drawn.glob("*/shot.json"):
        shutil.copytree(shot.parent, made.shots / shot.parent.name)
    return made


def test_a_works_is_inspected_into_its_store(works: Works) -> None:
    odd = shutil.copytree(next(works.shots.iterdir()), works.shots / "odd")
    (odd / "shot.json").write_text((odd / "shot.json").read_text().replace("TS-135", "XX-1"))
    call = ["--works", str(works.folder), "--no-pictures"]
    first = CliRunner().invoke(inspect, call, catch_exceptions=False)
    assert first.exit_code == 1
    assert "parts/XX-1/part.toml: this file is missing" in first.output
    shutil.rmtree(odd)
    again = CliRunner().invoke(inspect, call, catch_exceptions=False)
    assert (again.exit_code, "0 new judgements" in again.output) == (0, True)
    store = works.open()
    runs, _ = runs_of(works, tuple(works.shots.iterdir()))
    ((_, work),), _ = _ready(runs, True, store, works, False)
    assert work.stamp == stamp_of(store, works.folder)
    (tray,) = recall_results(store)
    assert len(tray.pieces) > 1
    judgement = newest_judgement(store, tray.tray, 1)
    assert judgement is not None
    assert profile_of(store, judgement) is not None
    pictures = shown(store, [judgement])[judgement].pictures
    assert [one.light for one in pictures] == ["back"]
    assert (works.folder / pictures[0].path).is_file()
    assert part_of(store, "TS-135") is not None
    assert station_of(store, "ST-1") is not None
    assert [one.limits.revision for one in revisions(store, "TS-135")] == [tray.limits_revision]
    store.close()
