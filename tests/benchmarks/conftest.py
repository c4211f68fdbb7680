"""What the browser benchmarks share."""

from collections.abc import Callable

import pytest


@pytest.fixture
def report(capsys: pytest.CaptureFixture[str]) -> Callable[[str, dict[str, str]], None]:
    """Prints a small table of results past the capture."""

    def show(title: str, rows: dict[str, str]) -> None:
        with capsys.disabled():
            print(f"\n{title}")
            for name, text in rows.items():
                print(f"  {name:34s}{text}")

    return show
