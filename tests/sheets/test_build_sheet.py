"""The build sheet's contents: parts, markings, prices, lanes, readings, steps, options, and the command."""

from __future__ import annotations

import json
import re
from functools import cache
from pathlib import Path
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner
from hypothesis import given, settings

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.chain.link import from_link, to_query
from piezolab.cli import main
from piezolab.quantity import from_colour_bands, from_three_digit_code, parse
from piezolab.sheets.build_sheet import build_sheet, sheet_page
from piezolab.sheets.build_steps import boxing_steps, build_steps, light_words
from piezolab.sheets.meter_steps import first_power_steps, power_off_steps, power_on_steps, transistor_steps
from piezolab.sheets.ranges import ends, ohms, ohms_cell, volts
from piezolab.sheets.schematic import lettered, schematic_svg
from piezolab.sheets.sheet_data import SheetData, sheet_figures
from piezolab.sheets.tables import lane_rows, ohm_matrix, part_rows, reading_rows, total
from piezolab.sheets.wiring_svg import box_inside, template_svg, wiring_svg
from piezolab.studies.board.board_parts import soldered
from piezolab.studies.board_as_built import BoardAsBuilt
from piezolab.studies.faults.simulate import Tone
from piezolab.studies.linear import LinearChain
from piezolab.studies.metering.expected import Expected
from piezolab.studies.metering.tone_on_board import COUPLING_F
from piezolab.studies.prices import PriceError, read_prices
from tests.sheets.chains import chains
from tests.sheets.test_schematic import faults_of_connection, faults_of_layout, network_of


@cache
def plain(link: str) -> SheetData:
    """The data of a link with no option chosen; asked for once."""
    return SheetData(from_link(link))


def text_of(html: str) -> str:
    """The sheet's words, without tags and style."""
    return " ".join(re.sub(r"<[^>]+>", " ", re.sub(r"<style>.*?</style>", "", html, flags=re.DOTALL)).split())


# -- parts -------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("link", ["", "stage=gain", "return=divider&divider_c=100n&out_c=470n", "pad=47k,1k"])
def test_every_part_of_the_board_is_on_the_list_once_with_its_value(link: str) -> None:
    data = plain(link)
    rows = {row.reference: row for row in part_rows(data)}
    for part in soldered(data.assembly):
        row = rows[part.name.replace("_", "")]
        if part.kind == "jfet":
            assert row.value == data.chain.jfet and "pin order varies by maker" in row.note
            continue
        assert parse(row.value, part.unit) == pytest.approx(float(part.value), rel=0.1)
        if part.kind == "resistor":
            assert from_colour_bands(row.bands)[0] == pytest.approx(parse(row.value, "ohm"))
            assert row.marking == " ".join(row.bands)  # in words too
        elif float(part.value) < 1e-6:
            assert from_three_digit_code(row.marking) == pytest.approx(parse(row.value, "F"))
    if "pad" in link:
        assert {"Rpad1", "Rpad2"} <= rows.keys()


def test_a_value_between_the_preferred_ones_is_said() -> None:
    rows = {row.reference: row for row in part_rows(plain("source_r=4.1k"))}
    assert rows["RS"].value == "4k3" and "nearest preferred to 4k1 (+5 %)" in rows["RS"].note


def test_voltage_ratings() -> None:
    line = {row.reference: row.note for row in part_rows(plain("stage=gain"))}
    assert line["Csup"].startswith("electrolytic, 16 V or more; + to supply")  # 9.4 V fresh
    phantom = {row.reference: row.note for row in part_rows(plain("stage=gain&input=microphone"))}
    assert phantom["Cout"].startswith("bipolar or film, 63 V or more, never polarised")
    assert "+ to" not in phantom["Cout"]
    lanes = dict(lane_rows(plain("stage=gain&input=microphone")))
    assert "Cout" in lanes["drain"] and "Cout +" not in lanes["drain"], "it has no plus"
    assert phantom["CS"] == line["CS"]


def test_prices_and_their_sum(tmp_path: Path) -> None:
    data = plain("")
    rows = part_rows(data)
    by_hand = sum((row.price or 0) * row.count for row in rows)
    assert total(rows) == pytest.approx(by_hand) and by_hand > 5
    text = text_of(sheet_page(plain("")))
    assert "demo prices, invented" in text and f"{total(rows):.2f}" in text
    own = tmp_path / "prices.toml"
    own.write_text('currency = "Kč"\n[price]\nresistor = 2\n', encoding="utf-8")
    prices = read_prices(own)
    text = text_of(sheet_page(SheetData(SignalChain(), prices=prices)))
    assert "Kč" in text and "invented" not in text
    resistors = sum(row.count for row in part_rows(SheetData(SignalChain(), prices=prices)) if row.price is not None)
    assert total(part_rows(SheetData(SignalChain(), prices=prices))) == pytest.approx(2 * resistors)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("price = [", "cannot be read"),
        ("currency = 5", "currency: '5' cannot be used; allowed is 1 to 8 characters."),
        ('currency = "x"\nprice = 3', "prices: 3 cannot be used; allowed is a table of prices by kind."),
        ('currency = "x"\n[price]\nfilm = -1', "prices, film: -1 cannot be used; allowed is 0 to 1e+06."),
    ],
)
def test_bad_prices_are_refused_in_a_sentence(tmp_path: Path, content: str, message: str) -> None:
    path = tmp_path / "prices.toml"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(PriceError) as raised:
        read_prices(path)
    assert message in str(raised.value) and "\n" not in str(raised.value)


def test_two_discs_are_two_and_say_how_they_are_joined() -> None:
    rows = {row.reference: row for row in part_rows(plain("discs=2sx"))}
    assert rows["disc"].count == 2 and "brass to brass" in rows["disc"].note
    nodes = {part.name: part.nodes for part in assemble(from_link("discs=2sx").values).where("pickup")}
    assert nodes["R_p2"] == ("between discs", "ground")


# -- lanes and readings ------------------------------------------------------------------------------------------------
def test_lanes_name_every_lead_once() -> None:
    data = plain("stage=gain&gate_stop=1k")
    leads = [lead for _, leads in lane_rows(data) for lead in leads.split(", ")]
    assert len(leads) == len(set(leads)) or leads.count("RS") == 2
    for part in soldered(data.assembly):
        name = part.name.replace("_", "")
        assert sum(lead.split(" ")[0] == name for lead in leads) == len(part.nodes)


def test_readings_stand_in_the_table_as_computed() -> None:
    data = plain("return=divider")
    rows = {row[0]: row for row in reading_rows(data)}
    for each in data.volts:
        if each.lane in ("clip",):
            continue
        label = {"pickup": "gate (pickup)", "supply": "supply +", "jack": "jack tip"}.get(each.lane, each.lane)
        assert rows[label][3].startswith(volts(each.expected))
        assert rows[label][3].endswith("*") == each.loaded
    lanes, cells = ohm_matrix(data)
    assert [cells[n][n] for n in range(len(lanes))] == ["–"] * len(lanes)
    text = text_of(sheet_page(plain("return=divider")))
    assert rows["gate (pickup)"][3] in text and cells[0][1] in text


@pytest.mark.parametrize(
    ("expected", "told"),
    [
        (Expected(0.4712, 1.0, 2.2049), "0.47 to 2.21 V"),
        (Expected(-0.0003, 0.0, 0.0003), "0 V"),
        (Expected(-0.0003, 0.0, 0.303), "0 to 0.31 V"),
        (Expected(-0.1, -0.01, 0.0), "−0.100 to 0 V"),
        (Expected(20.31, 24.0, 25.02), "20.3 to 25.1 V"),
        (Expected(0.0791, 0.087, 0.0943), "0.079 to 0.095 V"),
    ],
)
def test_volts_are_rounded_outwards(expected: Expected, told: str) -> None:
    assert volts(expected) == told
    if told != "0 V":
        low, high = ends(expected)
        assert float(low[:-2].replace("−", "-")) <= expected.low + 5.1e-3
        assert float(high[:-2].replace("−", "-")) >= expected.high


@pytest.mark.parametrize(
    ("expected", "told"),
    [
        (Expected(97734.0, 1e5, 102234.0), "97k7 to 103k"),
        (Expected(float("inf"), float("inf"), float("inf")), "over range"),
        (Expected(1.97e6, 4.7e6, float("inf")), "over 1M97"),
        (Expected(51.27, 104.0, 210.9), "51R to 211R"),
        (Expected(0.0, 0.2, 1.3), "0 to 2R"),
    ],
)
def test_ohms_are_rounded_outwards(expected: Expected, told: str) -> None:
    assert ohms(expected) == told
    cell = {"over range": "1.", "over 1M97": "1M97–1."}
    assert ohms_cell(expected) == cell.get(told, told.replace(" to ", "–"))


# -- steps -------------------------------------------------------------------------------------------------------------
def test_cautions_stand_at_their_step() -> None:
    steps = build_steps(plain("")) + boxing_steps(plain(""))
    by_word = {word: next(step for step in steps if word in step.words) for word in ("disc", "Iron", "foil", "Wire")}
    assert "two seconds" in by_word["disc"].words and "tens of volts" in by_word["disc"].caution
    assert "open a window" in by_word["Iron"].caution and "wash hands" in by_word["Iron"].caution
    assert "never remove a protective earth" in by_word["foil"].caution
    assert "residual-current device" in by_word["foil"].caution and "licensed" in by_word["foil"].caution
    assert "heats fast and can burst" in by_word["Wire"].caution and "D1" in by_word["Wire"].words
    assert any("Glasses" in step.caution for step in steps)
    assert not any("phantom" in step.words for step in steps)
    assert any("phantom" in step.words for step in boxing_steps(plain("input=microphone")))


def test_first_power_says_its_numbers() -> None:
    for link, diode in (("", "1N5817"), ("stage=gain", "none"), ("supply=adapter", "1N5817")):
        data = SheetData(from_link(link), BoardAsBuilt(diode=diode))
        told = " ".join(f"{step.words} {step.caution}" for step in first_power_steps(data))
        low, high = ends(data.power.healthy)
        watt = f"{data.power.watt:g} W"
        for words in (f"{low} to {high}", f"Above {high}", f"Below {low}", "1 kΩ", watt, "ten seconds"):
            assert words in told
        assert ("D1 holds it back" in told) == (diode != "none")
        assert ohms(data.power.clip_on) in told and ohms(data.power.clip_on_reversed) in told
        assert "cannot tell" in told
        assert (f"{data.power.short.ampere:.1f} A" in told) if data.power.short else "unplug the adapter" in told


@pytest.mark.parametrize("schottky", [True, False])
def test_nothing_across_the_resistor_never_turns_the_battery(schottky: bool) -> None:
    """A diode the wrong way round passes no more than its leak, so the resistor shows about 0 V while the battery is
    right: turned, it would put its volts on the supply capacitor backwards."""
    data = SheetData(SignalChain(), BoardAsBuilt(diode="1N5817" if schottky else "none"))
    steps = [step.words for step in first_power_steps(data)]
    zero = next(words for words in steps if "0 V too" in words)
    assert "do not turn the battery" in zero and ("D1 turned or open" in zero) == schottky
    minus = next(words for words in steps if words.startswith("A minus sign"))
    assert "off at once" in minus and ("Above 0.1 V" in minus) == schottky
    assert not any("turn it round" in words for words in steps)


def test_ohms_at_the_clip_have_an_upper_limit_and_say_where_they_tell_nothing() -> None:
    data = plain("")
    words = first_power_steps(data)[0].words
    assert f"red on +, {ohms(data.power.clip_on)}" in words and "Over range with red on +: open" in words
    low, high = ohms(data.power.clip_on).split(" to ")
    # a hand that leaves the meter one range higher, and a meter that tests with a fifth less, read a sound diode too
    assert 5.5e3 < parse(low, "ohm") < 7e3 and 15e3 < parse(high, "ohm") < 30e3
    assert f"Above {high} with red on +, on lower ranges too: compare D1's band" in words
    alike = plain("jfet=J201&stage=gain&source_r=100k&drain_r=470k")  # half a megohm behind the diode
    assert "Which way round D1 sits does not show here" in first_power_steps(alike)[0].words
    bare = first_power_steps(SheetData(SignalChain(), BoardAsBuilt(diode="none")))[0].words
    assert "D1" not in bare


def test_a_small_meter_prints_no_figure_that_it_cannot_show() -> None:
    """Largest resistance 2 M: the 4M7 at the gate is over range; no AC range: no column of tones."""
    data = SheetData(SignalChain(), BoardAsBuilt(ohm_max=2e6, ac="no"))
    lanes, cells = ohm_matrix(data)
    gate = lanes.index("pickup")
    assert {cell for n, cell in enumerate(cells[gate]) if n != gate} == {"1."}
    text = text_of(sheet_page(data))
    assert "1. (OL on some): over range" in text and "AC volts" not in text and "too small" not in text
    assert "AC volts, tone on" in text_of(sheet_page(plain("")))
    assert {"4M55–4M81"} <= set(ohm_matrix(plain(""))[1][gate])


def test_a_band_too_wide_is_told_as_that() -> None:
    """A J113 in the gain stage may amplify 25 times or not at all: what the tone reads tells nothing."""
    data = plain("stage=gain")
    tone = {each.lane: each for each in data.tone}
    assert tone["jack"].expected.silent and tone["jack"].expected.low < 0.02 < 1 < tone["jack"].expected.high
    assert not tone["pickup"].expected.silent
    told = {row[0]: row for row in reading_rows(data)}
    assert told["jack tip"][4] == "tells nothing here" != told["gate (pickup)"][4]
    found = {each["lane"]: each for each in sheet_figures(data)["tone"]}
    assert found["jack"]["tells_nothing"] and "tells_nothing" not in found["pickup"]


@pytest.mark.parametrize("silent", [volts, ohms])
def test_a_silent_band_has_no_figures(silent: object) -> None:
    assert silent(Expected(0.0, 1.0, float("inf"), silent=True)) == "tells nothing here"


def test_switching_by_the_ring_speaks_of_the_plug() -> None:
    data = SheetData(SignalChain(), BoardAsBuilt(switch="ring"))
    words = first_power_steps(data)[0].words
    assert "Plug out: over range. A bare plug in the jack: red on +" in words and "Switch" not in words
    assert "ring contact" in " ".join(step.words for step in build_steps(data))
    assert "only a plug joins ring to sleeve" in wiring_svg(data)
    assert 'data-name="switch"' not in template_svg(data)
    assert 'data-name="switch"' in template_svg(plain(""))


@pytest.mark.parametrize("method", ["stripboard", "tape", "wire", "breadboard"])
def test_the_ring_alone_brings_battery_minus_to_ground(method: str) -> None:
    """One list of connections for lanes, layout and drawing: with the plug out nothing joins battery − to the board."""
    for switch in ("toggle", "ring"):
        data = SheetData(SignalChain(), BoardAsBuilt(method=method, switch=switch))
        ground = dict(lane_rows(data))["ground"]
        placed = {part.name for part in data.layout.parts}
        on_board = 'data-contact="battery -"' in wiring_svg(data)
        assert ("battery −" in ground) == ("battery -" in placed) == on_board == (switch == "toggle")
        assert "jack sleeve" in ground


def test_transistor_and_beeper_steps() -> None:
    data = plain("stage=gain")
    words = " ".join(step.words for step in transistor_steps(data))
    assert "n-channel" in words and volts(data.jig[1]) in words
    assert f"red on the third, {ohms(data.transistor.channel)}; black on it, {ohms(data.transistor.exchanged)}" in words
    assert "only these may: drain to source" in " ".join(step.words for step in power_off_steps(data))
    quiet = BoardAsBuilt(beeps_below=10.0)
    assert "from lane to lane nothing may beep" in power_off_steps(SheetData(from_link("stage=gain"), quiet))[0].words


def test_advice_never_touches_the_mains() -> None:
    """Every sentence that names the mains or a protective earth forbids, or sends to a licensed person."""
    for link in ("", "supply=adapter", "input=microphone", "stage=direct"):
        data = plain(link)
        found = [*build_steps(data), *first_power_steps(data), *boxing_steps(data)]
        for step in found:
            for sentence in re.split(r"(?<=[.:;])\s", f"{step.words} {step.caution}"):
                if re.search(r"\bmains\b|protective earth", sentence):
                    assert re.search(r"never|licensed|fault in mains", sentence, re.IGNORECASE), sentence


@pytest.mark.parametrize("switch", ["toggle", "ring"])
@pytest.mark.parametrize("link", ["supply=adapter", "supply=adapter&stage=gain&supply_r=1k&input=microphone"])
def test_an_adapters_sheet_knows_no_battery(link: str, switch: str) -> None:
    data = SheetData(from_link(link), BoardAsBuilt(switch=switch))
    text = text_of(sheet_page(data))  # the drawings' lettering, titles and descriptions among it
    assert not re.search(r"batt|unclip|the clip|clip's|clip or", text, re.IGNORECASE)
    rows = {row.reference: row for row in part_rows(data)}
    assert "socket" in rows and "B1" not in rows and "clip" not in rows
    assert rows["supply"].price is None and text.count("not priced") == 2, "at its row, and at the sum"
    assert "without what is not priced" in text
    assert 'data-name="socket"' in template_svg(data) and "socket +" in text
    assert text.count("Never open an adapter") == 1
    assert "not priced" not in text_of(sheet_page(plain("")))


def test_the_box_comes_after_every_check() -> None:
    for link in ("", "stage=direct", "supply=adapter"):
        text = text_of(sheet_page(plain(link)))
        heads = ("Check with the meter",) if link == "stage=direct" else ("Power off", "First power", "Power on")
        assert all(text.index(f" {head} ") < text.index("Into the box") < text.index("Line the box") for head in heads)
        assert not any("foil" in step.words for step in build_steps(plain(link)))


def test_nothing_bare_comes_near_the_foil() -> None:
    told = " ".join(step.words for step in boxing_steps(plain("")))
    assert "Keep the copper, the jack's tip and D1 off the foil" in told
    assert "power off: tip to sleeve must not beep" in told
    bare = SheetData(SignalChain(), BoardAsBuilt(diode="none"))
    assert "D1" not in " ".join(step.words for step in boxing_steps(bare))


def test_the_discs_leads_part_before_they_are_joined() -> None:
    for link in ("", "stage=direct"):
        words = next(step.words for step in build_steps(plain(link)) if "Twist" in step.words)
        assert words.index("Twist") < words.index("untwist") < words.index("join each")


@pytest.mark.parametrize("link", ["", "supply=adapter&supply_v=24", "stage=gain"])
def test_one_sentence_on_the_volts_a_finger_meets(link: str) -> None:
    """Touched where a finger is sent to feel for warmth; 30 V at most, where 60 V DC counts as safe to touch when dry
    (IEC 61140, from memory)."""
    data = plain(link)
    assert data.power.clip_v[1] < 60
    assert text_of(sheet_page(data)).count("V DC does not shock") == 1
    step = next(step for step in first_power_steps(data) if "V DC does not shock" in step.words)
    assert "finger on" in step.words and "Warm" in step.caution


# -- the whole ---------------------------------------------------------------------------------------------------------
def test_sheet_without_a_stage() -> None:
    html = sheet_page(plain("stage=direct"))
    text = text_of(html)
    assert html.count('class="page"') == 1 and html.count('class="page further"') == 1, "the template"
    assert "First power" not in text and "ceramic side to tip" in text and "Check with the meter" in text


def test_sheet_needs_nothing_from_elsewhere() -> None:
    html = sheet_page(plain("stage=gain"))
    assert not re.search(r"(?:src|href)=|url\((?!.data:|#)|@import|<script", html)
    assert set(re.findall(r"https?://[^\"' )]+", html)) == {"http://www.w3.org/2000/svg"}


def test_board_that_does_not_fit_is_said_on_the_sheet() -> None:
    options = BoardAsBuilt(board=(20, 20))
    assert "the smallest found that would do is" in text_of(build_sheet(from_link("stage=gain"), options))


def test_box_takes_board_battery_jack_and_switch() -> None:
    data = plain("stage=gain")
    inside = box_inside(data)
    assert inside[0] >= data.layout.width + 6 - 1e-9 and inside[1] >= data.layout.height + 26.5 + 34
    assert box_inside(plain("stage=gain&supply=adapter"))[1] < inside[1]
    six = box_inside(plain("stage=gain&supply=aa-6"))
    assert six[1] > inside[1] + 20 and six[2] >= 35, "six AA cells are no block"
    assert 'data-name="socket"' in template_svg(plain("supply=adapter"))


@pytest.mark.parametrize("supply", sorted(catalogue.batteries()))
def test_the_battery_brings_its_own_caution(supply: str) -> None:
    data = SheetData(from_link(f"supply={supply}&supply_v={catalogue.batteries()[supply].nominal_v:g}"))
    step = next(step for step in first_power_steps(data) if step.words.startswith("Polarity"))
    own = catalogue.batteries()[supply].caution
    said_before = own.startswith("A wrongly wired switch or reversed clip")
    assert step.caution.startswith("Red lead" if said_before else own) and "V socket" in step.caution
    assert any(own.rpartition(": ")[2] in each.caution for each in (*build_steps(data), *first_power_steps(data)))


@given(chains())
@settings(max_examples=5)
def test_random_chains_have_a_sheet_and_figures(chain: SignalChain) -> None:
    data = SheetData(chain)
    figures = json.loads(json.dumps(sheet_figures(data), allow_nan=False))
    assert figures["link"] == to_query(chain)
    assert (figures["first_power"] is None) == (not chain.topology.powered)
    html = build_sheet(chain)
    for svg in re.findall(r"<svg.*?</svg>", html, flags=re.DOTALL):
        ElementTree.fromstring(svg)
    assert html.count("<section") == html.count("</section>") and "nan" not in text_of(html).split()


@pytest.mark.parametrize("jfet", ["J113", "2N3819", "2N5457"])
def test_legs_are_drawn_as_the_type_usually_has_them(jfet: str) -> None:
    from piezolab import catalogue

    usual = next(seen for seen in catalogue.transistors()[jfet].pins_seen if len(seen.split()) == 3)
    made = BoardAsBuilt().layout(from_link(f"jfet={jfet}"))
    assert made.pins == usual
    assert BoardAsBuilt(pins="G D S").layout(from_link(f"jfet={jfet}")).pins == "G D S"


def test_everything_that_a_step_asks_for_is_on_the_parts_list() -> None:
    rows = {(row.reference, row.value) for row in part_rows(plain(""))}
    assert {("test", "1k"), ("jig", "330R, 4k7"), ("tone", "10n")} <= rows
    words = text_of(sheet_page(plain("")))
    whats = " ".join(row.what for row in part_rows(plain("")))
    for needed in ("box", "wire, sleeving, solder", "copper foil"):
        assert needed in whats
    assert {row.what for row in part_rows(plain("stage=direct"))} >= {"box", "copper foil", "solder"}
    assert Tone().farad == COUPLING_F, "one capacitor for the check and for finding a fault"
    assert "through 10 nF" in words
    assert "Order of legs drawn here: D S G" in words and "usual for the J113" in words


def test_a_healthy_board_is_not_called_what_a_luthier_calls_the_top() -> None:
    words = text_of(sheet_page(plain(""))).lower()
    assert "sound board" not in words and "sound gear" not in words


@pytest.mark.parametrize("link", ["", "return=divider"])
def test_a_mark_is_explained_where_there_is_one(link: str) -> None:
    data = plain(link)
    marked = any(row[3].endswith(" *") for row in reading_rows(data))
    assert marked == ("* the meter itself" in power_on_steps(data)[0].words) == (link != "")


def test_types_that_fit() -> None:
    soft = "stage=gain&play_v=50m"
    text, data = text_of(sheet_page(plain(soft))), plain(soft)
    assert "J201" in data.types and ", ".join(data.types) in text
    assert "Not every J113 does" in text  # its own spread is too wide for this stage
    loud = text_of(sheet_page(plain("stage=gain")))
    assert "none of the catalogue" in loud, "with 26 dB of gain every type clips at hard playing of 1 V"


# -- command --------------------------------------------------------------------------------------------------------
def test_command_writes_page_and_figures(tmp_path: Path) -> None:
    page = tmp_path / "sheet.html"
    result = CliRunner().invoke(main, ["sheet", "stage=gain", "--method", "tape", "--output", str(page)])
    assert result.exit_code == 0, result.output
    assert page.read_text("utf-8") == build_sheet(from_link("stage=gain"), BoardAsBuilt(method="tape"))
    result = CliRunner().invoke(main, ["sheet", "stage=gain", "--json", "--no-diode"])
    ours = sheet_figures(SheetData(from_link("stage=gain"), BoardAsBuilt(diode="none")))
    assert json.loads(result.output) == json.loads(json.dumps(ours))


def test_command_refuses_in_sentences() -> None:
    result = CliRunner().invoke(main, ["sheet", "gate_r=3m3", "--method", "glue"])
    assert result.exit_code == 2
    lines = result.stderr.splitlines()
    assert len(lines) == 2 and not result.stdout
    assert "did you mean 3M3" in lines[0] and "'glue' is not known" in lines[1]


def test_each_step_says_what_a_beginner_would_have_to_guess() -> None:
    """Letter codes before the first one, where the clip goes with the resistor in, what is on for the volts."""
    data = plain("")
    page = text_of(sheet_page(data))
    assert page.index("4k7 is 4.7 kΩ") < page.index("Gate and one leg joined")
    series = next(step.words for step in first_power_steps(data) if "1 kΩ resistor" in step.words)
    assert "only − of the clip on" in series and "crocodile leads" in series
    volts_step = power_on_steps(data)[0]
    assert volts_step.words.startswith("Switch on, jack empty.") and "Where is the fault?" in volts_step.words
    ring = power_on_steps(SheetData(SignalChain(), BoardAsBuilt(switch="ring")))[0]
    assert ring.words.startswith("A bare plug in the jack.") and "plug and battery out" in ring.words
    assert "− straight to −" in " ".join(step.words for step in first_power_steps(plain("supply=adapter")))


def test_what_could_hurt_stands_where_the_meter_first_meets_the_battery() -> None:
    data = plain("")
    jig = next(step for step in transistor_steps(data) if step.words.startswith("Jig"))
    assert "V socket" in jig.caution and "Battery off" in jig.caution
    assert "A slip shorts two lanes" in power_on_steps(data)[0].caution


def test_a_resistor_beyond_the_meter_is_checked_before_it_goes_in() -> None:
    """Once built in no reading tells it open: 4M7 beside 1 MΩ read 825 kΩ (4.7/5.7)."""
    small = SheetData(SignalChain(), BoardAsBuilt(ohm_max=2e6))
    words = build_steps(small)[0].words
    assert "RG is more than it shows: beside a resistor of 1.00 MΩ both must read about 820 kΩ" in words
    assert small.build.meter.beside(4.7e6)[1] == pytest.approx(824.6e3, rel=1e-3)
    assert "more than it shows" not in build_steps(plain(""))[0].words


# -- the light ---------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("link", ["", "supply_r=100&stage=gain", "discs=2s&return=divider", "supply=adapter"])
def test_a_light_is_in_schematic_parts_wiring_steps_and_figures(link: str) -> None:
    data = SheetData(from_link(link), BoardAsBuilt(led="red"))
    nodes = network_of(data.chain) | {part.name: part.nodes for part in data.led.parts}
    assert nodes["R_led"][0] == nodes["B1"][0] and nodes["LED"][1] == "ground"
    assert faults_of_connection(schematic_svg(data.chain, light=data.led.parts), nodes) == []
    turned = {**nodes, "LED": nodes["LED"][::-1]}
    assert faults_of_connection(schematic_svg(data.chain, light=data.led.parts), turned) != []
    assert faults_of_layout(lettered(LinearChain.of(data.chain.values), live=True, light=data.led.parts)) == []
    rows = {row.reference: row for row in part_rows(data)}
    assert parse(rows["Rled"].value, "ohm") == data.led.ohm and rows["Rled"].bands
    assert "1.8 V" in rows["LED"].note and "assumed" in rows["LED"].note and "long leg is +" in rows["LED"].note
    step = next(step for step in build_steps(data) if step.words.startswith("LED"))
    assert "flat side" in step.words and "long leg (+)" in step.words
    assert 'data-name="LED"' in template_svg(data)


def test_a_light_is_in_figures_and_first_power_and_nowhere_unasked() -> None:
    data = SheetData(SignalChain(), BoardAsBuilt(led="red"))
    assert sheet_figures(data)["led"]["current_a"] == data.led.ampere
    assert data.power.healthy.typical > plain("").power.healthy.typical + 0.3
    assert any("the LED shines" in step.words for step in first_power_steps(data))
    assert sheet_figures(plain(""))["led"] is None and "LED" not in text_of(sheet_page(plain("")))


def test_a_light_says_whether_the_batterys_life_counts_it() -> None:
    def told(link: str, colour: str = "red") -> str:
        return light_words(SheetData(from_link(link), BoardAsBuilt(led=colour)))

    assert "The LED draws 1.0 mA: enter 1m as “other current”" in told("")
    assert told("other_current=1m") == "The LED draws 1.0 mA, which battery life counts."
    assert told("supply=adapter") == "The LED draws 1.0 mA."
    assert "LED: 'white' cannot be lit from 3 V" in told("supply=coin-2&supply_v=3", "white")
    assert "allowed is" in told("supply=coin-2&supply_v=3", "white") and told("stage=direct") == ""


def test_a_light_that_the_meter_would_light_is_joined_after_the_ohms() -> None:
    for volt, after in ((0.4, False), (2.0, True)):
        data = SheetData(SignalChain(), BoardAsBuilt(led="red", test_v=volt))
        assert any("after the ohms" in step.words for step in build_steps(data)) == after


def test_a_measured_part_is_stated_as_measured() -> None:
    """“98 of 100” is said of a type, never of the part in hand."""
    own = plain("jfet_idss=5m&jfet_vgsoff=-1.2")
    text = text_of(sheet_page(own))
    assert "98 of 100" not in text and "your transistor as measured" in text
    assert "yours, measured: I_DSS 5.0 mA, V_GS(off) −1.20 V" in text.replace("-1.20", "−1.20")
    assert "Measure your transistor" not in text
    assert "98 of 100 transistors of the type" in text_of(sheet_page(plain("")))


@pytest.mark.parametrize(("link", "powered"), [("", True), ("stage=direct", False), ("discs=2sx", True)])
def test_the_paper_alone_answers_a_newcomer(link: str, powered: bool) -> None:
    """Which part first, which way round, what goes where at disc, jack, switch and battery: words on the sheet itself,
    its drawings' lettering among them."""
    text = text_of(sheet_page(SheetData(from_link(link), BoardAsBuilt(led="red"))))
    asked = {"disc": "ceramic brass", "jack": "tip: the longest spring", "sleeve": "beeps to the bush"}
    if powered:
        asked |= {
            "first": "Solder the lowest parts first", "either": "either way round", "plus": "the long lead is +",
            "legs": "Order of legs drawn here", "diode": "D1, band to board", "clip": "red is +",
            "switch": "of three lugs the middle and an outer one", "light": "flat side", "last": "Battery last",
            "compare": "Hold your board beside this picture",
        }  # fmt: skip
    assert [word for word, words in asked.items() if words not in text] == []
