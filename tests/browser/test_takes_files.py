"""The files that the ninth chapter saves, as a browser gets them."""

import pytest
import soundfile

from tests.browser.chapter import DESK
from tests.browser.standard import rest, unfold

pytestmark = pytest.mark.browser
FILES = (
    ("save the sweep (WAV)", "piezolab-sweep.wav"), ("save the bands (CSV)", "piezolab-takes.csv"),
    ("save a page to print", "piezolab-takes.html"),
)  # fmt: skip


def test_each_button_saves_its_file_and_says_what_is_not_there(visit, tmp_path) -> None:
    page = visit(**DESK).open("did-it-do-what-was-predicted?v=1")
    rest(page)
    unfold(page)
    for words, name in FILES:
        with page.page.expect_download() as found:
            page.page.get_by_role("button", name=words).click()
        assert found.value.suggested_filename == name
        found.value.save_as(tmp_path / name)
        page.page.get_by_text(f"Saved as {name}.").wait_for()
    sweep, rate = soundfile.read(tmp_path / "piezolab-sweep.wav", always_2d=True)
    assert rate == 48_000 and sweep.shape[1] == 1 and 0.1 < abs(sweep).max() < 1
    assert (tmp_path / "piezolab-takes.csv").read_text("utf-8").count("\n") > 10
    page.page.get_by_role("button", name="save the response (CSV)").click()
    page.page.get_by_role("status").filter(has_text="No sweep yet.").wait_for()
    assert page.problems == []
