"""The command line's options of a room."""

import pytest
from click.testing import CliRunner

from piezolab import serving
from piezolab.cli import main
from piezolab.serving import ServingError
from piezolab.serving.addresses import checked_address


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
    assert CliRunner().invoke(main, ["serve", "--room", "--try", "30"]).exit_code == 0
    assert said["visitors"] == 30 and not said["open_browser"]
    options["--public-address"] = "http://a.example"
    words = [word for pair in options.items() for word in map(str, pair)]
    assert CliRunner().invoke(main, ["serve", "--room", *words]).exit_code == 0
    assert "behind_proxy" not in said  # only where it is said
    assert CliRunner().invoke(main, ["serve", "--room", "--behind-proxy", *words]).exit_code == 0
    assert said["behind_proxy"]
    for option, value in options.items():
        assert said[option.strip("-").replace("-", "_")] == value


@pytest.mark.parametrize(
    "words, says",
    [
        (["--lesson", "find-the-hum"], "--lesson needs --room"),
        (["--try", "30"], "--try needs --room"),
        (["--room", "--try", "0"], "0 is not in the range x>=1"),
        (["--room", "--seats", "0"], "0 is not in the range 1<=x<=2000"),
        (["--room", "--idle-minutes", "0"], "0.0 is not in the range 0.05<=x<=1440"),
    ],
)
def test_what_cannot_be_is_refused_with_the_range(said, words, says):
    result = CliRunner().invoke(main, ["serve", *words])
    assert result.exit_code == 2 and says in result.output and not said


WEB = "http://"
ADDRESSES = {
    "http://192.168.0.7:8350": True,
    "http://192.168.0.7:8350/": True,
    "HTTPS://workshop.example": True,
    "http://[fe80::1]:8350": True,
    "workshop.example": False,
    "ftp://workshop.example": False,
    "http://": False,
    f"{WEB}a b": False,
    f"{WEB}a.example:99999": False,
    f"{WEB}a.example:0": False,
    f"{WEB}[::1": False,
    f"{WEB}me@a.example": False,
    f"{WEB}a.example?x=1": False,
    f"{WEB}a.example#x": False,
    f"{WEB}a.example/<b>": False,
    "": False,
}


@pytest.mark.parametrize("address", ADDRESSES)
def test_an_address_is_checked_the_same_way_wherever_it_is_given(address):
    """By the server and by the handout; behind a path of its own only the handout's can lie."""
    good = ADDRESSES[address]
    if good:
        assert checked_address(address, "public-address") == address.rstrip("/")
        assert checked_address(address.rstrip("/") + "/workshop", "address", path_too=True).endswith("/workshop")
    for more in ([address] if not good else [address.rstrip("/") + "/workshop"]):
        with pytest.raises(ServingError, match="^public-address: .* should look like http://192.168.0.7:8350$"):
            checked_address(more, "public-address")
    if address and not good:
        done = CliRunner().invoke(main, ["handout", "find-the-hum", "--address", address])
        assert done.exit_code == 2 and done.output.startswith("address: ") and done.output.count("\n") == 1
