"""What a browser keeps: checked when it comes back, from the browser's store or from a file."""

import json

import pytest

from piezolab.pages.kit.keepsake import FORMAT, MOST_FILE, SECTIONS, Keepsake
from piezolab.pages.where_does_the_bass_go import chapter


@pytest.fixture
def keepsake():
    keepsake = Keepsake()
    keepsake.sent = []
    keepsake.send = lambda content, buffers=None: keepsake.sent.append(content)
    return keepsake


def file_of(**sections) -> str:
    return json.dumps({"format": FORMAT, "sections": sections})


def test_what_is_kept_comes_back(keepsake):
    given = []
    keepsake.use("curve", given.append)
    keepsake.keep("curve", "pickup_c=1n5")
    stored = keepsake.sent[-1]["keep"]
    keepsake._heard(keepsake, {"word": "kept", "sections": stored}, [])
    assert given == ["pickup_c=1n5"]


def test_a_value_that_did_not_change_is_not_sent_again(keepsake):
    keepsake.keep("tasks", {"a": True})
    keepsake.keep("tasks", {"a": True})
    assert len(keepsake.sent) == 1


@pytest.mark.parametrize(
    "sections",
    [None, [], "curve", {"curve": 7}, {"curve": "not json"}, {"curve": "[" * 4000}, {"curve": '"' + "x" * 9000 + '"'},
     {"curve": '"pickup_c=9F"'}, {"tasks": "[]"}, {"tasks": '{"a": 1}'}, {"tasks": '{"a": false}'}, {"other": '"x"'}],
)  # fmt: skip
def test_a_hostile_store_gives_nothing(keepsake, sections):
    given = []
    for name in SECTIONS:
        keepsake.use(name, given.append)
    keepsake._heard(keepsake, {"word": "kept", "sections": sections}, [])
    assert given == []


@pytest.mark.parametrize(
    "text", ["", "{}", "[]", "null", "[" * 100_000, "x" * (MOST_FILE + 1), '{"format": "other", "sections": {}}']
)
def test_a_file_that_is_none_of_ours_is_refused(keepsake, text):
    keepsake._heard(keepsake, {"word": "file", "text": text}, [])
    assert keepsake.said.startswith("file: it is not one") and keepsake.sent == []


def test_from_a_file_the_good_is_taken_and_the_rest_is_named(keepsake):
    given = []
    keepsake.use("curve", given.append)
    wrong = keepsake.open_file(file_of(curve="gate_r=10M", tasks={"a": "yes"}, spells=1))
    assert given == ["gate_r=10M"]
    assert [next(iter(sent["keep"])) for sent in keepsake.sent] == ["curve"]
    assert len(wrong) == 2 and "finished tasks" in wrong[0] and "'spells'" in wrong[1]


def test_a_section_that_nobody_declared_cannot_be_used(keepsake):
    with pytest.raises(KeyError, match="spells"):
        keepsake.use("spells", print)


def test_the_page_takes_curve_and_tasks_and_leaves_other_chapters_tasks_alone():
    page = chapter.make("")
    page.keepsake.send = lambda content, buffers=None: None
    kept = {"curve": '"pickup_c=1n5"', "tasks": '{"bass-cable": true, "bias-region": true}'}
    page.keepsake._heard(page.keepsake, {"word": "kept", "sections": kept}, [])
    assert page.state.kept.pickup_c == 1.5e-9 and page.tasks.done == ["bass-cable"]
    sent = []
    page.keepsake.send = lambda content, buffers=None: sent.append(content)
    page.tasks.check("bass-corner", "159 Hz")
    assert set(json.loads(sent[-1]["keep"]["tasks"])) == {"bass-cable", "bias-region", "bass-corner"}
