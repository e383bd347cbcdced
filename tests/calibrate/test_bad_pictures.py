"""Pictures that show no usable target: each is refused in one line that says what was seen."""

from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from tests.calibrate.rig import Rig, photograph, poses, target
from vision.calibrate.observation import see
from vision.calibrate.photographs import read_photograph
from vision.calibrate.target import Target, find_nodes
from vision.errors import Unusable

REAL = Path(__file__).parents[1] / "data" / "real"
BOARD = Target("chessboard", 9, 6, 25.0)


@pytest.fixture(scope="module")
def board() -> NDArray[np.uint8]:
    rng = np.random.default_rng(21)
    return photograph(poses(Rig(), 1, rng)[0], rng)


def refused(pixels: NDArray[np.uint8], asked: Target) -> str:
    with pytest.raises(Unusable) as fault:
        see(pixels, asked, "board.png")
    text = str(fault.value)
    assert text.startswith("board.png: ")
    assert "\n" not in text
    return text


def test_an_even_picture() -> None:
    assert "is even" in refused(np.full((400, 500), 90, np.uint8), target())


def test_a_picture_of_something_else() -> None:
    pixels = read_photograph(REAL / "pca_test1.jpg")
    assert "no target of 9 x 6 inner corners is seen" in refused(np.asarray(pixels, np.uint8), target())


def test_half_a_board(board: NDArray[np.uint8]) -> None:
    text = refused(np.ascontiguousarray(board[:, : board.shape[1] // 2]), target())
    assert "show the whole target" in text


@pytest.mark.parametrize(("columns", "rows"), [(8, 6), (9, 7)])
def test_a_wrong_count(board: NDArray[np.uint8], columns: int, rows: int) -> None:
    assert "count" in refused(board, Target("chessboard", columns, rows, 2.5))


@pytest.mark.parametrize("name", [f"left{i:02d}.jpg" for i in (2, 13)])
@pytest.mark.parametrize(("columns", "rows"), [(9, 5), (10, 6)])
def test_a_wrong_count_on_real_boards(name: str, columns: int, rows: int) -> None:
    pixels = np.asarray(read_photograph(REAL / name), np.uint8)
    assert "count" in refused(pixels, Target("chessboard", columns, rows, 25.0))


def test_the_larger_count_first_or_last_is_the_same_board(board: NDArray[np.uint8]) -> None:
    assert len(find_nodes(board, Target("chessboard", 6, 9, 2.5), "board")) == 54


def test_a_blurred_picture(board: NDArray[np.uint8]) -> None:
    text = refused(cv2.GaussianBlur(board, (0, 0), 7.0).astype(np.uint8), target())
    assert "focus and take it anew" in text


def test_squares_too_small(board: NDArray[np.uint8]) -> None:
    small = cv2.resize(board, None, fx=0.14, fy=0.14, interpolation=cv2.INTER_AREA).astype(np.uint8)
    text = refused(small, target())
    assert "go nearer" in text or "no target" in text


def test_a_hidden_corner(board: NDArray[np.uint8]) -> None:
    nodes = find_nodes(board, target(), "board")
    covered = board.copy()
    u, v = nodes[23].round().astype(int)
    cv2.circle(covered, (int(u), int(v)), 9, 128, -1)
    refused(covered, target())


def test_discs_asked_of_a_chessboard(board: NDArray[np.uint8]) -> None:
    assert "discs" in refused(board, target("circles"))


def test_a_mirrored_board_is_a_board() -> None:
    """Neither squares nor discs tell left from right: a mirrored picture of them is the picture of a turned target."""
    pixels = np.asarray(read_photograph(REAL / "left01.jpg"), np.uint8)
    nodes = find_nodes(np.ascontiguousarray(pixels[:, ::-1]), BOARD, "mirrored")
    plain = find_nodes(pixels, BOARD, "plain")
    flipped = (plain * [-1.0, 1.0] + [pixels.shape[1] - 1.0, 0.0]).reshape(6, 9, 2)[:, ::-1].reshape(-1, 2)
    assert np.abs(nodes - flipped).max() < 1.0


def test_a_sixteen_bit_picture_of_few_bits_is_seen_alike(board: NDArray[np.uint8]) -> None:
    deep, _ = see(board.astype(np.uint16) * 16, target(), "deep")
    assert deep.points_px == pytest.approx(see(board, target(), "plain")[0].points_px, abs=1e-6)


def test_files_that_hold_no_picture(tmp_path: Path) -> None:
    whole = (REAL / "left01.jpg").read_bytes()
    for name, data, said in (
        ("empty.png", b"", "none that can be decoded"),
        ("text.png", b"no picture", "none that can be decoded"),
        ("cut.jpg", whole[: len(whole) // 2], "ends too soon"),
    ):
        (tmp_path / name).write_bytes(data)
        with pytest.raises(Unusable, match=said):
            read_photograph(tmp_path / name)
    with pytest.raises(Unusable, match="No such file"):
        read_photograph(tmp_path / "absent.png")


def test_colour_becomes_grey(tmp_path: Path) -> None:
    colour = np.zeros((8, 9, 3), np.uint8)
    colour[..., 1] = 200
    cv2.imwrite(str(tmp_path / "green.png"), colour)
    assert read_photograph(tmp_path / "green.png")[0, 0] == round(0.587 * 200)
