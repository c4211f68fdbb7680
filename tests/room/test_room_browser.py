"""A room in real browsers: from the projected code to the solved task, the line, the nap, and a server started anew."""

import signal
from urllib.parse import urlsplit

import pytest
import requests

from piezolab.lessons.shelf import lesson_named
from tests.room.conftest import Guest, open_room
from tests.serving.browsing import WAIT_MS

pytestmark = pytest.mark.browser

LESSON = lesson_named("where-the-bass-goes")
PHONE = {"viewport": {"width": 390, "height": 844}}


@pytest.fixture
def phones(browser):
    """Makes browsers of a phone's size, each with cookies of its own."""
    made = []

    def phone():
        context = browser.new_context(**PHONE)
        made.append(context)
        return context.new_page()

    yield phone
    for context in made:
        context.close()


@pytest.fixture(scope="module")
def lesson_room():
    """The shipped chapters, two seats, forked kernels where they can be."""
    server = open_room(None, warm=True, seats=2, lesson=LESSON.name)
    yield server
    server.stop()


def drawn(page) -> None:
    page.wait_for_selector(".piezolab-plot[data-state=drawn]", timeout=WAIT_MS)


def test_from_the_projector_to_a_solved_task_and_through_the_line(lesson_room, phones):
    wall = phones()
    wall.set_viewport_size({"width": 1280, "height": 720})
    outside = []
    wall.on("request", lambda request: outside.append(request.url))
    wall.goto(lesson_room.url + "projector")
    wall.wait_for_function("() => document.getElementById('seats').textContent.includes('0 seats taken, 2 free')")
    assert wall.locator(".pz-qr svg").bounding_box()["width"] > 300
    link = f"{lesson_room.url}{LESSON.chapter}?lesson={LESSON.name}"

    first, second, third = phones(), phones(), phones()
    for page in (first, second):
        page.on("request", lambda request: outside.append(request.url))
        page.goto(link)
        drawn(page)
    third.goto(link)
    third.get_by_text("You are number 1 in the line.").wait_for(timeout=WAIT_MS)
    assert third.url == link  # the wanted page, with its chain, is kept
    wall.get_by_text("2 seats taken, 0 free, 1 waiting").wait_for(timeout=WAIT_MS)

    event = {"lesson": LESSON.name, "tasks": [LESSON.tasks[0].name]}
    for page in (first, second, second):
        page.evaluate(
            "detail => document.querySelector('.pz-cell').dispatchEvent("
            "new CustomEvent('piezolab:solved', { bubbles: true, detail }))",
            event,
        )
    wall.get_by_text("2 solved it").wait_for(timeout=WAIT_MS)
    first.goto(lesson_room.url + "how-loud-before-it-clips")  # keeps its seat though somebody waits
    drawn(first)
    first.goto("about:blank")
    drawn(third)
    assert third.url.startswith(link)
    assert all(url.startswith((lesson_room.url, "blob:", "data:")) for url in outside)


def test_untouched_page_warns_gives_its_seat_back_and_carries_on(room_notebooks, phones):
    server = open_room(room_notebooks, idle_minutes=0.15)
    try:
        page = phones()
        page.goto(server.url + "does-it-slide?pickup_c=4n7")
        page.wait_for_selector(".noUi-handle", timeout=WAIT_MS)
        # Far down the page, where a notice that comes in at its head moves everything.
        page.evaluate("document.querySelector('main').style.minHeight = '3000px'; scrollTo(0, 900)")
        page.wait_for_selector("#pz-idle", timeout=WAIT_MS)
        assert page.locator("#pz-idle").bounding_box()["y"] >= 0
        page.wait_for_timeout(500)
        assert page.locator("#pz-idle").count() == 1  # its own coming is no touch
        page.mouse.wheel(0, 10)  # touched: it stays
        page.wait_for_selector("#pz-idle", state="detached", timeout=WAIT_MS)
        page.wait_for_selector("#pz-gone:not([hidden])", timeout=WAIT_MS)
        notice = page.locator("#pz-gone")
        assert notice.text_content().startswith("Nobody has touched this page for a while, so its seat went")
        assert server.kernels_become(0, 60)
        notice.get_by_role("link", name="carry on").click()
        page.wait_for_selector("#pz-gone", state="hidden", timeout=WAIT_MS)
        page.wait_for_selector(".noUi-handle", timeout=WAIT_MS)
        assert page.url == server.url + "does-it-slide?pickup_c=4n7"
    finally:
        server.stop()


def test_server_started_again_in_the_middle_of_a_lesson(room_notebooks, phones):
    """The open page comes back; the cookies of before open nothing any more."""
    server = open_room(room_notebooks)
    guest = Guest(server)
    guest.come_in()
    page = phones()
    page.goto(server.url + "does-it-slide?pickup_c=4n7")
    page.wait_for_selector(".noUi-handle", timeout=WAIT_MS)
    server.stop(signal.SIGKILL)
    page.get_by_text("The server cannot be reached just now.").wait_for(timeout=WAIT_MS)
    again = open_room(room_notebooks, port=urlsplit(server.url).port)
    try:
        page.get_by_role("link", name="open it again").click()
        page.wait_for_selector(".noUi-handle", timeout=WAIT_MS)
        assert page.url == again.url + "does-it-slide?pickup_c=4n7"
        assert again.url == server.url
        guest.server = again
        assert guest.place().get("stranger")
        assert "Getting your place ready" in guest.knock().text
        assert guest.leave(guest.come_in()) == 204
    finally:
        again.stop()


def test_browser_without_cookies_is_told(lesson_room, phones):
    page = phones()

    def without(route) -> None:
        answer = requests.get(route.request.url, timeout=20)
        route.fulfill(status=answer.status_code, content_type=answer.headers["Content-Type"], body=answer.content)

    page.route("**/*", without)
    page.goto(lesson_room.url)
    page.get_by_text("Your browser keeps no cookie of this server").wait_for(timeout=WAIT_MS)
    assert len(lesson_room.kernels()) <= 2
