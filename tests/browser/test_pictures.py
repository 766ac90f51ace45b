"""Pictures of the panel: a still and a film come out as files of their kind, and not too large."""

from PIL import Image

from host_sim import REPO_ROOT
from host_sim.panel.pictures import STILLS, WALK_NAME, Film, saver

LARGEST_BYTES = 2_000_000


def test_a_still_is_a_small_png(open_page, tmp_path):
    saver(open_page().screenshot())(tmp_path / "still.png")
    with Image.open(tmp_path / "still.png") as picture:
        assert picture.format == "PNG" and picture.size == (1280, 900)


def test_a_film_moves_and_lasts_as_long_as_it_took(open_page, tmp_path):
    film = Film(open_page())
    film.click("#master")
    film.wait(0.6)
    film.save(tmp_path / "film.webp")
    with Image.open(tmp_path / "film.webp") as picture:
        assert picture.format == "WEBP" and picture.n_frames >= 2  # equal frames become one
        pixels = []
        for frame in (0, picture.n_frames - 1):
            picture.seek(frame)
            pixels.append(picture.convert("RGB").tobytes())
    assert pixels[0] != pixels[1]


def test_the_documents_have_all_pictures():
    folder = REPO_ROOT / "docs/pictures"
    assert {still.name for still in STILLS} | {WALK_NAME} <= {p.name for p in folder.iterdir()}
    assert (folder / WALK_NAME).stat().st_size < LARGEST_BYTES
