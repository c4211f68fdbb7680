"""The share link: a chain as text and back, from wherever the text was copied."""

from urllib.parse import quote

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from piezolab.chain import ChainError, SignalChain
from piezolab.chain.link import MOST_CHARACTERS, MOST_PARTS, from_link, read_link, read_texts, to_query
from piezolab.chain.parameters import all_parameters
from piezolab.chain.signal_chain import checked_leniently
from tests.chain.strategies import chains, values_of

HOST = "http://workshop.local"
QUERY = "pickup_c=20n&stage=gain&jfet_vgsoff=-2&gate_r=1M&pad=10k,2k2&input=pedal"
CHAIN = SignalChain(
    pickup_c=20e-9, stage="gain", jfet_vgsoff=-2.0, gate_r=1e6, pad=(10e3, 2.2e3), input=("pedal",)
)


def keys_of(query: str) -> list[str]:
    return [piece.partition("=")[0] for piece in query.split("&") if piece]


@settings(max_examples=200)
@given(chains())
def test_round_trip_is_exact(chain: SignalChain) -> None:
    query = to_query(chain)
    again, problems = read_link(query)
    assert problems == () and again == chain and hash(again) == hash(chain)
    assert dict(again.entered) == dict(chain.entered)
    assert to_query(again) == query


@given(st.data())
def test_round_trip_with_every_key_entered(data: st.DataObject) -> None:
    table = all_parameters()
    entered = {key: data.draw(values_of(parameter)) for key, parameter in table.items()}
    chain, _ = checked_leniently(entered)
    query = to_query(chain)
    assert len(query) < MOST_CHARACTERS
    assert from_link(query) == chain


@given(chains())
def test_a_link_holds_what_differs_in_the_order_of_the_table_and_nothing_else(chain: SignalChain) -> None:
    keys = keys_of(to_query(chain))
    assert keys == [key for key in all_parameters() if key in chain.entered]
    plain = chain.but(dict.fromkeys(keys)) if "stage" not in keys else SignalChain(stage=chain.stage)
    for key in keys:
        if key not in ("stage", "supply_v", "jfet_vds"):  # whose defaults hang on a neighbour
            assert chain[key] != plain[key]
    assert to_query(chain).isascii()
    assert not set(to_query(chain)) & set(" \"<>#?'+`\\")


@given(chains(), st.randoms())
def test_equal_chains_give_equal_links_in_whatever_order_they_were_entered(chain: SignalChain, random) -> None:
    items = list(chain.entered.items())
    random.shuffle(items)
    again = SignalChain()
    for changed in (SignalChain(dict(items)), again.but(dict(items))):
        assert changed == chain and to_query(changed) == to_query(chain)
    shuffled = "&".join(f"{key}={quote(all_parameters()[key].write(value))}" for key, value in items)
    assert from_link(shuffled) == chain


def test_the_default_chain_has_an_empty_link() -> None:
    assert to_query(SignalChain()) == ""
    for text in ("", "?", " ", "v=1", HOST, f"{HOST}/", f"{HOST}/where-does-the-bass-go?", "&", "?&&"):
        assert read_link(text) == (SignalChain(), ()), text


def test_defaults_written_out_vanish() -> None:
    assert to_query(from_link("gate_r=4M7&source_r=3.9k&supply_v=9&v=1&pad=none&resonance=none&input=amplifier")) == ""


# -- defaults that hang on another choice ---------------------------------------------------------------------------
def test_the_stage_brings_its_own_defaults() -> None:
    assert to_query(SignalChain(stage="gain", source_r=1500, drain_r=6800, bypass_c=22e-6)) == "stage=gain"
    assert to_query(SignalChain(stage="gain", source_r=3900)) == "stage=gain&source_r=3k9"
    assert to_query(SignalChain(stage="gain", bypass_c=0)) == "stage=gain&bypass_c=0"
    assert to_query(SignalChain(stage="follower", drain_r=6800)) == "drain_r=6k8"


def test_the_battery_brings_its_voltage() -> None:
    assert SignalChain(supply="aa-3").supply_v == 4.5
    assert to_query(SignalChain(supply="aa-3", supply_v=4.5)) == "supply=aa-3"
    assert to_query(SignalChain(supply="aa-3", supply_v=9)) == "supply=aa-3&supply_v=9"
    assert SignalChain(supply="adapter").supply_v == 9
    assert to_query(SignalChain(supply="adapter", supply_v=12)) == "supply=adapter&supply_v=12"


def test_an_i_dss_reading_is_taken_at_9_v_unless_said() -> None:
    chain = SignalChain(jfet_idss=5e-3)
    assert chain.jfet_vds == chain.values.jfet_vds == 9
    assert to_query(SignalChain(jfet_idss=5e-3, jfet_vds=9)) == "jfet_idss=5m"
    assert to_query(SignalChain(jfet_idss=5e-3, jfet_vds=10)) == "jfet_idss=5m&jfet_vds=10"
    assert SignalChain().values.jfet_vds == 15  # where the type's sheet states it


# Links of format 1 as they were once handed out, and what they mean for ever.
OLD_LINKS = {
    "": {"stage": "follower", "gate_r": 4.7e6, "source_r": 3900.0, "supply_v": 9.0, "jfet": "J113"},
    "tuning=E1&pickup_c=22n&stage=direct&cable_m=6": {
        "tuning": "E1", "pickup_c": 22e-9, "stage": "direct", "cable_m": 6.0, "cable_c": 100e-12,
        "input": ("amplifier",),
    },
    "stage=gain&jfet=2N5457&jfet_idss=3m2&jfet_vgsoff=-1.8&supply_v=9.2": {
        "jfet_idss": 3.2e-3, "jfet_vds": 9.0, "jfet_vgsoff": -1.8, "source_r": 1500.0, "drain_r": 6800.0,
        "bypass_c": 22e-6, "bypass_part": 1.0, "out_c": 2.2e-6, "bleed_r": 100e3, "supply_v": 9.2, "supply_c": 10e-6,
    },
    "discs=2p&resonance=4k2,30,0.3&return=divider&return_part=0.4&pad=10k,1k&input=pedal,interface&mains_hz=60&mains_v=120":
    {
        "discs": "2p", "resonance": (4200.0, 30.0, 0.3), "return": "divider", "return_part": 0.4, "divider_r": 2e6,
        "divider_c": 1e-6, "pad": (10e3, 1e3), "input": ("pedal", "interface"), "mains_hz": 60.0, "mains_v": 120.0,
    },
}  # fmt: skip


@pytest.mark.parametrize("query", OLD_LINKS)
def test_an_old_link_keeps_its_meaning(query: str) -> None:
    chain, problems = read_link(query)
    assert problems == ()
    assert {key: chain[key] for key in OLD_LINKS[query]} == OLD_LINKS[query]
    assert to_query(chain) == query


# -- wherever the text was copied -----------------------------------------------------------------------------------
@pytest.mark.parametrize(
    "text",
    [
        QUERY,
        f"?{QUERY}",
        f"  {QUERY}\n",
        f"\u00a0{QUERY}\u3000",
        f"http://127.0.0.1:8350/where-does-the-bass-go?{QUERY}",
        f"https://user@room.example.org:8443/hub/user/x/voila/render/01.ipynb?{QUERY}#maths",
        f"{HOST}?{QUERY}",
        f"{HOST}/a=b/c&d?{QUERY}",
        f"http://[2001:db8::1]:8350/?{QUERY}",
        f"/where-does-the-bass-go?{QUERY}",
        f"where-does-the-bass-go?{QUERY}",
        f"workshop.local/x?{QUERY}#",
        f"{HOST}/?lesson=3&{QUERY}&seat=blue+chair",
        f"{HOST}/?{QUERY.replace('&', '&amp;')}",
        f"{HOST}/?&&{QUERY}&",
        f"{HOST}/?{QUERY[:30]}\r\n{QUERY[30:]}",
        f"{HOST}/?{QUERY.replace(',', '%2C').replace('_', '%5F').replace('gain', 'g%61in')}",
        f"{HOST}/?" + "&".join(reversed(QUERY.split("&"))),
        "pickup_c=20+nF&stage=GAIN&jfet_vgsoff=2&gate_r=1+Mohm&pad=10+kohm,+2200&input=Pedal",
        "pickup_c=0.02%C2%B5&stage=gain&jfet_vgsoff=%E2%88%922&gate_r=1%20M%CE%A9&pad=10%20k%E2%84%A6,2k2&input=pedal",
    ],
)
def test_the_same_chain_from_any_place(text: str) -> None:
    assert read_link(text) == (CHAIN, ())


def test_a_plus_sign_before_a_number() -> None:
    assert from_link("temp_c=+20").temp_c == 20
    assert from_link("temp_c=%2B20").temp_c == 20
    assert from_link("supply_v=1.2e%2B1").supply_v == 12


@pytest.mark.parametrize(
    "text, chain, sentences",
    [
        ("gate_q=1M", {}, ["link: 'gate_q' is not a key of a chain; did you mean 'gate_r'?"]),
        ("xyzzy=1", {}, ["link: 'xyzzy' is not a key of a chain; the keys are listed in the guide."]),
        ("=1", {}, ["link: '' is not a key of a chain; the keys are listed in the guide."]),
        ("gate_r", {}, ["link: 'gate_r' has no value; allowed is key=value, joined by '&'."]),
        (
            "cable_m=5&cable_m=6&cable_m=7",
            {"cable_m": 5.0},
            [
                "output cable length (cable_m): '6' is a second value; allowed is one value for each key.",
                "output cable length (cable_m): '7' is a second value; allowed is one value for each key.",
            ],
        ),
        (
            "cable_m=x&cable_m=6",
            {},
            [
                "output cable length (cable_m): 'x' cannot be read; write for example 0.3, 30 cm or 27 mm; allowed is "
                "0 m to 100 m.",
                "output cable length (cable_m): '6' is a second value; allowed is one value for each key.",
            ],
        ),
        (
            "gate%5Fr=&cable_m=5",
            {"cable_m": 5.0},
            [
                "gate resistor (gate_r): '' is empty; write for example 4M7, 560R or 3.3 kohm; "
                "allowed is 1 kΩ to 1 GΩ."
            ],
        ),
        (
            "input=pedal,interface&input_r=1M&input_c=1n",
            {"input": ("pedal", "interface")},
            [
                f"{label}: {shown!r} was entered with two inputs; allowed is an entered value with one input only."
                for label, shown in (
                    ("input resistance (input_r)", "1.00 MΩ"),
                    ("input capacitance (input_c)", "1.00 nF"),
                )
            ],
        ),
        (
            "jfet_ciss=5p&jfet_crss=6p",
            {"jfet_ciss": 5e-12},
            [
                "reverse transfer capacitance C_rss (jfet_crss): '6.00 pF' does not fit, since C_iss contains C_rss; "
                "allowed is 0 F to 5 pF."
            ],
        ),
        # with C_rss dropped the type's own 3 pF comes back, and C_iss does not fit that either
        (
            "jfet_ciss=1p&jfet_crss=6p",
            {},
            [
                "reverse transfer capacitance C_rss (jfet_crss): '6.00 pF' does not fit, since C_iss contains C_rss; "
                "allowed is 0 F to 1 pF.",
                "input capacitance C_iss (jfet_ciss): '1.00 pF' does not fit, since C_iss contains C_rss; "
                "allowed is 3 pF to 200 pF.",
            ],
        ),
        (
            "tuning=D3%23-A3",
            {},
            [
                "strings (tuning): 'D3#' is not a note; write a letter A to G, s (sharp) or f (flat), and an octave, "
                "such as Fs3, from A0 to C8; allowed is 1 to 12 notes from A0 to C8, such as D3-A3-D4."
            ],
        ),
        # a sharp sign cuts an address off: said, not swallowed
        (
            f"{HOST}/?tuning=D3#-A3",
            {"tuning": "D3"},
            ["link: '#-A3' is not read; allowed is %23 for a sharp in a link, or s as in Fs3."],
        ),
        (
            "cable_m=5#stage=gain",
            {"cable_m": 5.0},
            ["link: '#stage=gain' is not read; allowed is %23 for a sharp in a link, or s as in Fs3."],
        ),
        (
            "gate_r=1M?stage=gain",
            {},
            [
                "gate resistor (gate_r): '1M?stage=gain' cannot be read; write for example 4M7, 560R or 3.3 kohm; "
                "allowed is 1 kΩ to 1 GΩ."
            ],
        ),
        ("workshop.local/x", {}, ["link: 'workshop.local/x' has no value; allowed is key=value, joined by '&'."]),
        ("x" * 4001, {}, ["link: 4001 characters are too many; allowed is up to 4000."]),
        ("a=1&" * 201, {}, ["link: 201 parts are too many; allowed is one for each key."]),
        (
            "tuning=D3#",
            {"tuning": "D3"},
            ["link: '#' is not read; allowed is %23 for a sharp in a link, or s as in Fs3."],
        ),
        ("v=2&cable_m=5", {"cable_m": 5.0}, ["link format (v): '2' is not in the list; allowed is 1."]),
        (
            "<script>alert(1)</script>=1",
            {},
            ["link: '<script>alert(1)</script>' is not a key of a chain; the keys are listed in the guide."],
        ),
    ],
)
def test_what_cannot_be_used_is_said_and_the_rest_is_kept(text: str, chain: dict, sentences: list[str]) -> None:
    found, problems = read_link(text)
    assert [problem.sentence for problem in problems] == sentences
    assert found == SignalChain(chain)
    with pytest.raises(ChainError) as refusal:
        from_link(text)
    assert refusal.value.problems == problems


def test_the_limits_of_length_leave_room_for_every_key() -> None:
    assert MOST_PARTS > len(all_parameters())
    assert read_link("&" * MOST_CHARACTERS) == (SignalChain(), ())


def test_two_inputs_count_as_one_load() -> None:
    values = from_link("input=line,oscilloscope-probe").values
    assert values.input_r == pytest.approx(1 / (1 / 10e3 + 1 / 10e6), rel=1e-15)


def test_texts_by_key_are_read_as_a_maker_writes_them() -> None:
    chain = read_texts({"gate_r": "3.3 Mohm", "tuning": "F#3", "input": "pedal, interface", "out_c": "2,2 µ"})
    assert chain == SignalChain(gate_r=3.3e6, tuning="Fs3", input=("pedal", "interface"), out_c=2.2e-6)
    for texts in ({"gate_r": "\ud800"}, {"\ud800": "1"}, {"a&stage=gain": "x"}, {"gate_r": "1M&stage=gain"}):
        with pytest.raises(ChainError) as refusal:
            read_texts(texts)
        assert len(refusal.value.problems) == 1
