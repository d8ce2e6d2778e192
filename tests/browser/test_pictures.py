"""The gallery says what the notebooks say of themselves; every notebook has its picture."""

from pictures import GALLERY, IMAGES, gallery, notebooks


def test_the_gallery_is_what_the_script_writes_and_every_notebook_is_pictured():
    assert GALLERY.read_text(encoding="utf-8") == gallery(), "run tests/browser/pictures.py, which writes it"
    for notebook in notebooks():
        assert (IMAGES / f"{notebook.number}.png").is_file()
        assert notebook.up_to_the_picture()
