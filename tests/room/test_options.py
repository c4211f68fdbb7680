"""The command line's options of a room."""

import pytest
from click.testing import CliRunner

from piezolab import serving
from piezolab.cli import main


@pytest.fixture
def said(monkeypatch: pytest.MonkeyPatch) -> dict:
    """What the server was asked for."""
    seen: dict = {}
    monkeypatch.setattr(serving, "serve", lambda **options: seen.update(options))
    return seen


def test_room_chooses_its_network_and_lets_idle_seats_go(said):
    assert CliRunner().invoke(main, ["serve", "--room", "--no-browser"]).exit_code == 0
    assert said["room"] and said["host"] is None and said["idle_minutes"] == 20


def test_every_option_of_a_room_is_handed_on(said):
    options = {"--seats": 12, "--lesson": "find-the-hum", "--idle-minutes": 7.5, "--log-file": "log"}
    options["--public-address"] = "http://a.example"
    words = [word for pair in options.items() for word in map(str, pair)]
    assert CliRunner().invoke(main, ["serve", "--room", *words]).exit_code == 0
    for option, value in options.items():
        assert said[option.strip("-").replace("-", "_")] == value


@pytest.mark.parametrize(
    "words, says",
    [
        (["--lesson", "find-the-hum"], "--lesson needs --room"),
        (["--room", "--seats", "0"], "0 is not in the range 1<=x<=2000"),
        (["--room", "--idle-minutes", "0"], "0.0 is not in the range 0.05<=x<=1440"),
    ],
)
def test_what_cannot_be_is_refused_with_the_range(said, words, says):
    result = CliRunner().invoke(main, ["serve", *words])
    assert result.exit_code == 2 and says in result.output and not said
