"""The teacher's view: who may see it, what it counts, and what it does to a room."""

import json
import math
import re

import pytest
import requests

from piezolab.lessons.screens import screens
from piezolab.lessons.shelf import lesson_named
from piezolab.serving.room_pages import SolvedHandler
from piezolab.serving.seats import RELEASED, Seats
from piezolab.serving.solved import Solved, SolvedError
from piezolab.serving.standing import SHARED_BY, Standing
from piezolab.serving.teachers_desk import TRIES, TeachersDesk
from piezolab.serving.waiting import WaitingLine
from tests.browser.checks import axe, small, unnamed, wide
from tests.room.conftest import Guest, open_room
from tests.room.test_lessons_walked import LOW, PHONE, WIDE, Learner
from tests.serving.browsing import WAIT_MS, Page
from tests.serving.test_seats import Clock

LESSON = lesson_named("where-the-bass-goes")
NUMBER = next(step for step in LESSON.tasks if step.kind == "number")
PICK = next(step for step in LESSON.tasks if step.kind == "pick")
GOAL = next(step for step in LESSON.tasks if step.kind == "make")


def standing() -> Standing:
    return Standing(Solved(lesson_named))


def common(record: Standing) -> dict[str, list]:
    """Question -> what several gave, and how many."""
    found = [task for lesson in record.lessons([]) for task in lesson["wrong"]]
    return {task["question"]: [(one["answer"], one["gave"]) for one in task["answers"]] for task in found}


def test_a_wrong_answer_is_told_when_three_gave_it_and_not_before():
    record = standing()
    for n, value in enumerate((-2.449, -2.4, -9.0)):
        record.note(f"visitor {n}", LESSON.name, 1, {NUMBER.name: value, PICK.name: 0})
    record.note("visitor 0", LESSON.name, 1, {NUMBER.name: -2.449})  # the same word again
    assert SHARED_BY == 3 and common(record) == {PICK.question: [(PICK.options[0].text, 3)]}
    record.note("visitor 2", LESSON.name, 1, {NUMBER.name: -2.36})  # the latest one counts
    assert common(record)[NUMBER.question] == [("−2.4 dB", 3)]
    record.note("visitor 1", LESSON.name, 1, {PICK.name: 1})
    assert PICK.question not in common(record)


def test_it_is_counted_who_is_there_and_where():
    record = standing()
    for who, at in (("ann", 0), ("bob", 2), ("cid", 2), ("gone", 2)):
        record.note(who, LESSON.name, at, {})
    [lesson] = record.lessons(["ann", "bob", "cid", "in no lesson"])
    assert lesson["title"] == LESSON.title and lesson["of"] == len(screens(LESSON))
    assert [(one["place"], one["here"]) for one in lesson["screens"]] == [(1, 1), (3, 2)]
    assert record.place("bob") == f"{LESSON.title}, 3 of {lesson['of']}" and record.place("dan") == ""
    record.note("ann", "find-the-hum", 1, {})
    assert record.place("ann").startswith(lesson_named("find-the-hum").title)


@pytest.mark.parametrize(
    "at, wrong, says",
    [
        (-1, {}, "at: allowed is a screen"),
        (len(screens(LESSON)), {}, "at: allowed is a screen"),
        (True, {}, "at: "),
        ("1", {}, "at: "),
        (0, [], "wrong: allowed are tasks"),
        (0, {"no-such": 1}, "wrong: allowed are tasks"),
        (0, {GOAL.name: 1}, "wrong: the answer to"),
        (0, {PICK.name: 1.5}, "wrong: .* has the answers 0 to"),
        (0, {PICK.name: -1}, "wrong: .* has the answers 0 to"),
        (0, {PICK.name: 99}, "wrong: .* has the answers 0 to"),
        (0, {NUMBER.name: "<b>1</b>"}, "wrong: "),
        (0, {NUMBER.name: math.nan}, "wrong: "),
        (0, {NUMBER.name: None}, "wrong: "),
    ],
)
def test_what_is_not_the_lessons_is_not_taken(at, wrong, says):
    record = standing()
    with pytest.raises(SolvedError, match=says):
        record.note("ann", LESSON.name, at, wrong)
    assert record.lessons(["ann"]) == []


def test_what_one_visitor_can_send_is_bounded_and_a_whole_lesson_of_it_goes_through():
    """The largest honest report of the shipped lessons; what is kept of it is one number for each task."""
    for name in ("where-the-bass-goes", "will-this-transistor-do", "find-the-hum"):
        lesson = lesson_named(name)
        wrong = {step.name: -1.2e-123 if step.kind == "number" else 1 for step in lesson.tasks if step.kind != "make"}
        report = {"lesson": name, "tasks": [step.name for step in lesson.tasks], "at": 20, "wrong": wrong}
        assert len(str(report)) < SolvedHandler.LONGEST / 2
        record = standing()
        for _ in range(3):
            record.note("ann", name, 1, wrong)
        [kept] = record._of.values()
        assert set(kept.wrong) == set(wrong) and b"ann" not in b"".join(record._of)


def test_the_longest_wait_is_that_of_somebody_who_is_there():
    clock = Clock()
    line = WaitingLine(Seats(1, clock=clock), present_s=10, clock=clock)
    line._seats.opening(object())
    assert line.longest_s == 0
    assert not line.enters("ann")
    clock.now += 8
    assert not line.enters("bob")
    assert line.longest_s == 8
    clock.now += 8  # ann's phone sleeps
    assert not line.enters("bob")
    assert line.longest_s == 8


def test_a_seats_number_is_never_the_next_ones():
    desk = TeachersDesk()
    assert desk.numbers(["a", "b"]) == {"a": 1, "b": 2}
    assert desk.numbers(["b", "c"]) == {"b": 2, "c": 3}
    assert desk.pass_for(desk.secret) != desk.secret and desk.pass_for("ä") is None and not desk.knows(None)


# -- a room -------------------------------------------------------------------------------------------------------
@pytest.fixture(scope="module")
def taught(browser):
    """The shipped chapters, two seats, forked kernels where they can be."""
    server = open_room(None, warm=True, seats=2, lesson=LESSON.name)
    yield server
    server.stop()


#: Sound that no part of ours makes, and what has become of it.
OTHER_SOUND = """async () => {
    const context = window.pzOther ??= new AudioContext();
    await Promise.race([context.resume(), new Promise((late) => setTimeout(late, 300))]);
    return context.state;
}"""


def secret(server) -> str:
    """The teacher's secret, as the terminal shows it."""
    return server.wait_for(r"For you alone: \S+/teacher#(\S+)", 30)[1]


def teacher(server) -> requests.Session:
    """Somebody who has opened the teacher's address."""
    session = requests.Session()
    assert session.post(server.url + "teacher/key", json={"secret": secret(server)}, timeout=20).status_code == 204
    return session


@pytest.mark.browser
def test_only_the_teacher_sees_and_does_anything(taught):
    page = requests.get(taught.url + "teacher", timeout=20)
    assert page.headers["Referrer-Policy"] == "no-referrer" and page.headers["Cache-Control"] == "no-store"
    assert secret(taught) not in page.text and not page.cookies and not taught.kernels()
    known = teacher(taught)
    [cookie] = known.cookies
    assert cookie.value != secret(taught) and cookie.path == "/teacher" and cookie.has_nonstandard_attr("HttpOnly")
    assert cookie.get_nonstandard_attr("SameSite") == "Strict"
    asked = {"state": None, "release": {"seat": 1}, "sound": {"muted": True}}
    for who, kept in (("nobody", None), ("a visitor", "x"), ("the secret", secret(taught))):
        jar = {} if kept is None else {cookie.name: kept}
        for path, content in asked.items():
            method = "GET" if content is None else "POST"
            answer = requests.request(method, f"{taught.url}teacher/{path}", json=content, cookies=jar, timeout=20)
            assert answer.status_code == 403, (who, path)
    elsewhere = {"headers": {"Origin": "http://elsewhere.example"}, "json": {"muted": True}, "timeout": 20}
    assert known.post(taught.url + "teacher/sound", **elsewhere).status_code == 403
    state = known.get(taught.url + "teacher/state", timeout=20)
    assert state.status_code == 200 and not state.json()["muted"] and state.headers["Referrer-Policy"] == "no-referrer"
    for content in ({"muted": "yes"}, {}, [], None):
        assert known.post(taught.url + "teacher/sound", json=content, timeout=20).status_code == 400
    assert known.post(taught.url + "teacher/release", json={"seat": 99}, timeout=20).status_code == 404


@pytest.mark.browser
def test_a_lesson_seen_by_its_teacher(taught, browser):
    """Somebody answers wrong, two more say so; the teacher sees it, silences the pages, and gives a seat away."""
    view = Page(browser, taught, **PHONE)
    learner = Page(browser, taught, **{**PHONE, "viewport": {"width": WIDE, "height": LOW}})
    try:
        view.page.goto(taught.url + "teacher#" + secret(taught))
        view.page.get_by_text("Nobody waits.").wait_for(timeout=WAIT_MS)
        assert view.page.url == taught.url + "teacher"  # the secret is not left standing there
        view.page.reload()
        view.page.get_by_text("Nobody is here.").wait_for(timeout=WAIT_MS)

        learner.open(f"{LESSON.chapter}?lesson={LESSON.name}")
        learner.page.locator(".pz-keepsake").wait_for(state="attached", timeout=WAIT_MS)
        who = Learner(learner, LESSON)
        who.to(PICK.name)
        of = who.count
        view.page.get_by_text(f"{who.at + 1} of {of}: {PICK.question}").wait_for(timeout=WAIT_MS)
        who.guess("up", PICK.controls[0])
        wrong = next(option.text for option in PICK.options if option.text == "old pedal")
        learner.page.get_by_role("button", name=wrong, exact=True).tap()
        who.answered("^Not so", False)
        index = [option.text for option in PICK.options].index(wrong)
        for _ in range(2):  # one after the other on the second seat
            guest = Guest(taught)
            kernel = guest.come_in("")
            said = {"lesson": LESSON.name, "tasks": [], "at": 0, "wrong": {PICK.name: index}}
            assert guest.solved(said).status_code == 204
            assert guest.leave(kernel) == 204
        row = view.page.locator("#wrong li", has_text=wrong)
        row.wait_for(timeout=WAIT_MS)
        assert row.locator("b").inner_text() == "3"

        learner.page.locator(".pz-player-play:visible").tap()
        learner.page.locator(".pz-player[data-state=playing]").wait_for(timeout=WAIT_MS)
        assert learner.page.evaluate(OTHER_SOUND) == "running"
        view.page.get_by_role("button", name="mute all").tap()
        view.page.get_by_text("Every page is silent now.").wait_for(timeout=WAIT_MS)
        learner.page.locator(".pz-player[data-state=idle]").wait_for(timeout=WAIT_MS)
        learner.page.wait_for_function("() => window.pzOther.state === 'suspended'", timeout=WAIT_MS)
        learner.page.locator(".pz-player-play:visible").tap()
        learner.page.locator(".pz-player-status", has_text="silenced every page").wait_for(timeout=WAIT_MS)
        assert learner.page.locator(".pz-player[data-state=idle]").count() == 1
        assert learner.page.evaluate(OTHER_SOUND) == "suspended"
        late = Guest(taught)
        kernel = late.come_in("")
        assert json.loads(late.lines[kernel].recv()) == {"piezolab": {"muted": True}}
        assert late.leave(kernel) == 204
        for scheme, width in (("light", 390), ("dark", 1280)):
            view.page.set_viewport_size({"width": width, "height": 844})
            view.page.emulate_media(color_scheme=scheme)
            found = [*axe(view), *wide(view), *unnamed(view), *small(view)]
            assert not found, (scheme, width, found)
        view.page.get_by_role("button", name="sound again").focus()
        view.page.keyboard.press("Enter")
        view.page.get_by_text("Pages may sound again.").wait_for(timeout=WAIT_MS)
        learner.page.wait_for_function("() => window.piezolabMuted() === ''", timeout=WAIT_MS)
        assert learner.page.evaluate(OTHER_SOUND) == "running"

        chosen = view.page.get_by_label("Seat, and for how long")
        assert re.search(f": .*, {LESSON.title}, {who.at + 1} of {of}", chosen.inner_text())
        view.page.get_by_role("button", name="release it").tap()
        learner.page.get_by_text("The teacher has given this seat to somebody else.").wait_for(timeout=WAIT_MS)
        assert taught.kernels_become(0, 30) and RELEASED == 4410
        assert not view.problems
    finally:
        view.close()
        learner.close()


@pytest.mark.browser
def test_wrong_secrets_are_few_and_nothing_of_them_is_written_down(taught):
    """The last one here: this address may try no more for a while."""
    codes = tried(taught, [f"192.0.2.{n}" for n in range(TRIES[0] + 3)])  # whom it says that it speaks for is nothing
    assert codes[-1] == 429 and set(codes) == {403, 429}
    good = requests.post(taught.url + "teacher/key", json={"secret": secret(taught)}, timeout=20)
    assert good.status_code == 429 and not good.cookies
    assert taught.output.count(secret(taught)) == 1 and WRONG not in taught.output


def test_forwarded_addresses_count_where_somebody_says_that_there_is_a_proxy(room_notebooks):
    server = open_room(room_notebooks, behind_proxy=True)
    try:
        many = TRIES[0] + 3
        assert set(tried(server, [f"192.0.2.{n}" for n in range(many)])) == {403}
        assert tried(server, ["198.51.100.1"] * many)[-1] == 429
    finally:
        server.stop()


WRONG = "w" * 32


def tried(server, forwarded: list[str]) -> list[int]:
    """The answers to wrong secrets, each sent as if for another address (those of RFC 5737, for documentation)."""
    codes = []
    for address in forwarded:
        headers = {"X-Forwarded-For": address}
        answer = requests.post(server.url + "teacher/key", json={"secret": WRONG}, headers=headers, timeout=20)
        codes.append(answer.status_code)
    return codes
