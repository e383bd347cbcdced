"""Each shot's own folder of results; the tray's folder shows one of them, and nothing else of ours."""

from pathlib import Path

from app.works.shot_folders import own_folders, put_standing


def shot(tray: Path, name: str, **files: str) -> Path:
    own = tray / name
    own.mkdir(parents=True)
    for stem, content in {"result.json": name, **files}.items():
        (own / stem).write_text(content)
    return own


def shown(tray: Path) -> dict[str, str]:
    return {file.name: file.read_text() for file in tray.iterdir() if file.is_file()}


def test_the_trays_folder_shows_the_shot_put_there_last(tmp_path: Path) -> None:
    tray = tmp_path / "T-1"
    first, second = shot(tray, "shot-a", **{"piece-1.jpg": "a1", "piece-2.jpg": "a2"}), shot(tray, "shot-b")
    (tray / "notes.txt").write_text("a person's own")
    put_standing(first)
    put_standing(first)
    assert shown(tray) == {
        "notes.txt": "a person's own",
        "result.json": "shot-a",
        "piece-1.jpg": "a1",
        "piece-2.jpg": "a2",
    }
    put_standing(second)
    assert shown(tray) == {"notes.txt": "a person's own", "result.json": "shot-b"}
    assert (first / "piece-1.jpg").read_text() == "a1"
    assert own_folders(tmp_path) == [first, second]


def test_a_result_of_an_earlier_program_lies_in_the_trays_folder_itself(tmp_path: Path) -> None:
    old = shot(tmp_path, "T-2")
    assert own_folders(tmp_path) == own_folders(old) == [old]
