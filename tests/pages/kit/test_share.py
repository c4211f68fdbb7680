"""Sharing: address, QR code, parts list, opening what others share."""

import re

import pytest

from piezolab.chain.link import DEFAULT_QUERY, from_link
from piezolab.chapters import ChapterFile
from piezolab.pages.kit.address import Address, checked_base
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.parts_list import parts_list
from piezolab.pages.kit.share import Share, qr_svg
from piezolab.pages.kit.ways import Ways, neighbours, place

CHAPTERS = [ChapterFile(word, f"{n}-{word}.ipynb", f"{word}?") for n, word in enumerate(["one", "two", "three"], 1)]


@pytest.fixture
def state():
    return PageState(from_link("pickup_c=1n5"))


@pytest.fixture
def address(state):
    return Address(state)


@pytest.fixture
def share(state, address):
    return Share(state, address)


def at(address, base):
    address._heard(address, {"word": "at", "base": base}, [])


def test_the_full_link_is_the_browsers_address_and_the_chain(state, address, share):
    assert share.link == ""
    at(address, "http://192.168.0.7:8350/workshop/one")
    assert share.link == "http://192.168.0.7:8350/workshop/one?pickup_c=1n5"
    state.enter("gate_r", "10M")
    assert share.link.endswith("?pickup_c=1n5&gate_r=10M") and from_link(share.link) == state.chain
    state.start_over()
    assert share.link == "http://192.168.0.7:8350/workshop/one?v=1"
    assert share.text == DEFAULT_QUERY and from_link(DEFAULT_QUERY) == state.chain


@pytest.mark.parametrize(
    "base",
    [None, 7, "", "javascript:alert(1)", "data:text/html,x", "http://", "//h.test/x", "http://h.test/x?y=1", "http://h.test/x#y",
     "http://h.test/<b>", 'http://h.test/"', "http://h.test/a b", "http://h.test/" + "x" * 600,
     "ftp://h.test/x", "http://[::1", "http://h.test/\x00"],
)  # fmt: skip
def test_a_hostile_address_is_not_taken(address, base):
    at(address, base)
    assert address.base == "" and address.link == ""


def test_a_good_address_is_taken():
    assert checked_base("https://workshop.example/a/b-c") == "https://workshop.example/a/b-c"


def test_page_words_stay_in_the_address_but_not_in_the_link(monkeypatch):
    monkeypatch.setenv("QUERY_STRING", "pickup_c=1n5&lesson=two")
    state = PageState.opened()
    address = Address(state)
    at(address, "http://192.168.0.7/x")
    assert address.page_words == "lesson=two" and address.link == "http://192.168.0.7/x?pickup_c=1n5"


@pytest.mark.parametrize("host", ["localhost", "127.0.0.1", "127.1.2.3", "[::1]", "x.localhost", "0.0.0.0"])
def test_no_code_for_an_address_of_this_computer_only(address, share, host):
    at(address, f"http://{host}:8350/x")
    share._heard(share, {"word": "qr"}, [])
    assert share.qr == "" and "this computer only" in share.qr_said


def test_the_code_holds_the_link_and_follows_the_chain(state, address, share):
    at(address, "http://192.168.0.7:8350/x")
    assert share.qr == ""  # nothing is drawn until it is asked for
    share._heard(share, {"word": "qr"}, [])
    first = share.qr
    assert first.startswith("<svg") and "http" not in re.sub(r'"[^"]*"', "", first)
    state.enter("gate_r", "10M")
    assert share.qr != first


def test_a_link_too_long_for_a_code_is_no_failure(address, share):
    at(address, "http://192.168.0.7:8350/x")
    share._address.base += "/" + "x" * 3000
    share._heard(share, {"word": "qr"}, [])
    assert share.qr == "" and "too long" in share.qr_said


def test_the_code_is_what_the_library_makes_of_the_link():
    import segno

    link = "http://192.168.0.7:8350/x?pickup_c=1n5"
    size = segno.make(link, micro=False, error="m", boost_error=False).symbol_size(border=4)[0]
    assert f'viewBox="0 0 {size} {size}"' in qr_svg(link)


def test_a_shared_configuration_is_opened(state, share):
    share._heard(share, {"word": "open", "text": "pickup_c=2n2"}, [])
    assert state.query == "pickup_c=2n2" and share.said == ["Opened."] and not share.asks


def test_a_partly_wrong_paste_asks_first(state, share):
    wrong = {"word": "open", "text": "https://elsewhere.example/y?pickup_c=4n7&gate_r=1G5"}
    for word, query in (("leave", "pickup_c=1n5"), ("rest", "pickup_c=4n7")):
        share._heard(share, wrong, [])
        assert state.query == "pickup_c=1n5" and share.asks
        assert len(share.said) == 1 and "gate resistor" in share.said[0]
        share._heard(share, {"word": word}, [])
        assert state.query == query and not share.asks
    share._heard(share, {"word": "rest"}, [])  # nothing waits any more
    assert state.query == "pickup_c=4n7"
    state.undo()
    assert state.query == "pickup_c=1n5"


@pytest.mark.parametrize("text", ["hello there", "", "gate_r=3m3", "pickup_c=9F&nothing=1"])
def test_a_wholly_wrong_paste_changes_nothing(state, share, text):
    share._heard(share, {"word": "open", "text": text}, [])
    assert state.query == "pickup_c=1n5" and not share.asks and not state.can_undo
    assert share.said[-1] == "Nothing was changed." and len(share.said) > 1


@pytest.mark.parametrize("text", [None, 7, "x" * 9000, ["pickup_c=1n"]])
def test_hostile_pastes_change_nothing(state, share, text):
    share._heard(share, {"word": "open", "text": text}, [])
    assert state.query == "pickup_c=1n5" and share.said


def test_neighbours_are_in_reading_order():
    def ways(slug):
        return [(way["way"], way["slug"]) for way in neighbours(slug, CHAPTERS)]

    assert ways("one") == [("all questions", ""), ("next", "two")]
    assert ways("two") == [("all questions", ""), ("before", "one"), ("next", "three")]
    assert ways("three") == [("all questions", ""), ("before", "two")]
    assert ways("") == [("next", "one")]
    assert place("two", CHAPTERS) == "2 of 3" and place("", CHAPTERS) == ""


def test_the_chain_goes_along_at_once(state):
    bar = Ways(state, "where-does-the-bass-go", slim=True)
    assert bar.query == state.carried and bar.place.startswith("1 of ")
    state.enter("gate_r", "10M", live=True)
    assert bar.query.endswith("gate_r=10M")


@pytest.mark.parametrize(
    "link", ["", "stage=direct", "stage=gain&return=divider", "discs=2px&pad=10k,1k&resonance=4k,20,0.3"]
)
def test_the_parts_list_names_every_part_of_the_board(link):
    chain = from_link(link)
    text = parts_list(chain)
    from piezolab.chain.assembly import assemble

    for part in assemble(chain.values).where("board", "supply"):
        assert part.label in text
    assert ("typical, not yours" in text) is chain.topology.powered
    assert "your own, measured" in parts_list(from_link("jfet_idss=3m&jfet_vgsoff=2"))
