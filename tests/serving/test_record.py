"""The log: short lines, nothing of a visitor's whole, no more than the disk has room for."""

import asyncio
import contextlib
import gc
import io
import logging
import sys
from concurrent.futures import ThreadPoolExecutor
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from nbclient.exceptions import DeadKernelError
from tornado.iostream import StreamClosedError
from tornado.websocket import WebSocketClosedError

from piezolab.serving import record
from piezolab.serving.channels import ChannelsHandler
from piezolab.serving.kernels import KernelGone
from piezolab.serving.limits import Allowances
from piezolab.serving.record import LONGEST, SHOWN, KernelErrors, Line, plain, write_to
from piezolab.serving.start import _left_over
from piezolab.serving.start_problems import ServingError
from tests.serving.test_seats import Clock


def line(message: str, *arguments: object, problem: BaseException | None = None) -> str:
    about = (type(problem), problem, problem.__traceback__) if problem else None
    return Line().format(logging.LogRecord("a", logging.ERROR, "", 0, message, arguments, about))


@given(st.text(max_size=2000), st.text(max_size=2000))
def test_a_record_is_one_short_line_that_no_terminal_obeys(said, raised):
    try:
        raise ValueError(raised)
    except ValueError as problem:
        written = line("%s", said, problem=problem)
    assert len(written) <= LONGEST and written.isprintable()
    assert "ValueError" in written and "test_record.py:" in written
    assert len(written.splitlines()) == 1


@given(st.text(max_size=200), st.integers(10, 100))
def test_what_can_be_printed_and_is_short_stands_as_it_was(text, most):
    shown = plain(text, most)
    assert len(shown) <= most
    if text.isprintable() and len(text) <= most:
        assert shown == text


def test_a_request_is_named_without_its_visitors_chain():
    secret = "title=my+own+words+about+it"
    written = line("Uncaught exception %s\n%r", f"GET /where?{secret} (127.0.0.1)", f"Request(uri='/where?{secret}')")
    assert "GET /where?… (" in written and "own" not in written and "127.0.0.1" in written


def test_a_kernel_is_heard_once_a_minute_and_the_others_still():
    clock, log = Clock(), logging.getLogger("tests.kernels")
    heard = io.StringIO()
    handler = logging.StreamHandler(heard)
    handler.setFormatter(Line())
    log.addHandler(handler)
    errors = KernelErrors(log, Allowances(1, 1 / 60, clock=clock))
    said = {"ename": "ValueError", "evalue": "v" * 500, "traceback": ["\x1b[0;31mFile ~/x/page.py:7\x1b[0m, in f()"]}
    for _ in range(1000):
        errors.note("one", said)
    errors.note("two", said)
    assert heard.getvalue().count("\n") == 2
    assert "File ~/x/page.py:7" in heard.getvalue() and "v" * SHOWN not in heard.getvalue()
    clock.now += 61
    errors.note("one", said)
    assert heard.getvalue().count("\n") == 3


@pytest.fixture
def root(monkeypatch):
    """The root logger, given back as it was."""
    logger = logging.getLogger()
    before, level = list(logger.handlers), logging.raiseExceptions
    logger.handlers = []
    yield logger
    for handler in logger.handlers:
        handler.close()
    logger.handlers, logging.raiseExceptions = before, level


def test_a_log_file_never_outgrows_its_measure(root, tmp_path, monkeypatch):
    monkeypatch.setattr(record, "FILE_BYTES", 5000)
    write_to(tmp_path / "log")
    for number in range(500):
        root.error("%d %s", number, "x" * 10_000)
    files = sorted(path.name for path in tmp_path.iterdir())
    assert files == ["log", "log.1", "log.2"]
    assert all(path.stat().st_size <= 5000 for path in tmp_path.iterdir())
    assert " 499 x" in (tmp_path / "log").read_text("utf-8").splitlines()[-1]


def test_that_a_kernel_has_ended_is_not_said_by_everybody(root, tmp_path):
    write_to(tmp_path / "log")
    root.error("Kernel died while waiting for execute reply.")
    try:
        raise DeadKernelError("Kernel died")
    except DeadKernelError:
        root.exception("Error at server while executing cell")
    root.error("anything else")
    [line] = (tmp_path / "log").read_text("utf-8").splitlines()
    assert line.endswith("ERROR anything else")


def test_a_log_file_that_cannot_be_written_is_one_sentence(root, tmp_path):
    with pytest.raises(ServingError, match="log: .* cannot be written: "):
        write_to(tmp_path / "nowhere" / "log")


@pytest.mark.skipif(sys.platform != "linux", reason="the device that is always full is Linux's")
def test_a_record_that_finds_a_full_disk_is_lost_quietly(root, capsys):
    handler = logging.StreamHandler(open("/dev/full", "w"))
    root.addHandler(handler)
    write_to(None)
    root.error("anything")
    with contextlib.suppress(OSError):
        handler.stream.close()
    assert capsys.readouterr().err == ""


def test_a_line_that_closes_while_its_page_is_told_something_is_no_record():
    async def play() -> list[dict]:
        told: list[dict] = []
        loop = asyncio.get_running_loop()
        loop.set_exception_handler(lambda _, about: told.append(about))
        handler = ChannelsHandler.__new__(ChannelsHandler)
        handler.kernel_id = "one"

        def closes(*_: object, **__: object) -> asyncio.Future:
            sent = loop.create_future()
            loop.call_soon(sent.set_exception, WebSocketClosedError())
            return sent

        line = SimpleNamespace(is_closing=lambda: False, selected_subprotocol=None, write_message=closes)
        handler.ws_connection = line
        handler.write_message({"header": {"msg_type": "comm_msg"}, "content": {}})
        await asyncio.sleep(0.01)
        gc.collect()
        line.is_closing = lambda: True
        assert handler.write_message({"header": {"msg_type": "comm_msg"}, "content": {}}) is None
        return told

    with ThreadPoolExecutor(1) as elsewhere:  # a browser's tests before may have left a loop running here
        assert elsewhere.submit(asyncio.run, play()).result() == []


def test_what_nobody_waits_for_is_an_error_unless_it_is_a_line_or_a_kernel_that_has_ended(caplog):
    async def play() -> None:
        asyncio.get_running_loop().set_exception_handler(_left_over)
        for problem in (WebSocketClosedError(), StreamClosedError(), KernelGone("gone"), ValueError("mind this")):
            asyncio.get_running_loop().create_future().set_exception(problem)
        gc.collect()

    caplog.set_level(logging.INFO, "piezolab.serving")
    with ThreadPoolExecutor(1) as elsewhere:
        elsewhere.submit(asyncio.run, play()).result()
    assert [record.levelname for record in caplog.records] == ["INFO"] * 3 + ["ERROR"]
    assert isinstance(caplog.records[-1].exc_info[1], ValueError)
