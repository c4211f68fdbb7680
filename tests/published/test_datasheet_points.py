"""The catalogue against figures published outside it.

"Read" means read in a copy of a maker's data sheet for the type number (makers are not named here); "memory"
means written down from memory of such a sheet.
"""

import math

import pytest

from piezolab.catalogue import batteries, offered, pickups, transistors
from piezolab.catalogue.disc import disc_capacitance, plate_capacitance, strip_capacitance
from piezolab.circuit.jfet import jfet_from_sheet

#: |y_fs| at V_GS = 0 and 1 kHz in mS, least and most (None: not stated). It appears nowhere in the catalogue,
#: and the square law ties it to figures that do: g_m0 = 2·I_DSS/|V_GS(off)|.
FORWARD_TRANSFER = {
    "2N3819": (2.0, 6.5, "read: two sheets, 2 mS least, 6.5 mS most"),
    "2N4416": (4.5, 7.5, "read"),
    "2N5457": (1.0, 5.0, "read"),
    "2N5458": (1.5, 5.5, "read"),
    "2N5459": (2.0, 6.0, "memory"),
    "2N5484": (3.0, 6.0, "read"),
    "2N5485": (3.5, 7.0, "read"),
    "2N5486": (4.0, 8.0, "read"),
    "MPF102": (2.0, 7.5, "read"),
    "BF245A": (3.0, 6.5, "read"),
    "BF245B": (3.0, 6.5, "read"),
    "BF245C": (3.0, 6.5, "read"),
    "BF256B": (4.5, None, "read for the family"),
    "BF862": (35.0, None, "read"),
    "J201": (0.5, None, "read"),
    "MMBF5457": (1.0, 5.0, "read"),
    "MMBF5484": (3.0, 6.0, "read for an equal type"),
    "MMBF5485": (3.5, 7.0, "read for an equal type"),
    "MMBF5486": (4.0, 8.0, "read for an equal type"),
    "2SK208-Y": (1.2, None, "memory"),
    "2SK208-GR": (1.2, None, "memory"),
    "MMBFJ201": (0.5, None, "read for the leaded form"),
    "J202": (1.0, None, "read"),
    "2SK30A-Y": (1.2, None, "read for an equal type"),
    "2SK30A-GR": (1.2, None, "read for an equal type"),
}


@pytest.mark.parametrize("name", FORWARD_TRANSFER)
def test_transconductance_at_zero_bias(name: str) -> None:
    """The typical part's g_m0 lies within the sheet's limits; 5 % more, as real parts bend from the law."""
    row = transistors()[name]
    g_m0 = 2e3 * row.idss_typical / row.vgsoff_intercept_typical
    least, most, _ = FORWARD_TRANSFER[name]
    assert g_m0 >= least * 0.95
    if most is not None:
        assert g_m0 <= most * 1.05


@pytest.mark.parametrize(
    ("name", "least", "most"),
    [("J309", 10.0, 20.0), ("J310", 8.0, 18.0)],  # read: g_fs at 10 mA, V_DS 10 V, 1 kHz
)
def test_transconductance_at_ten_milliamperes(name: str, least: float, most: float) -> None:
    row = transistors()[name]
    beta = row.idss_typical / row.vgsoff_intercept_typical**2
    assert least <= 1e3 * 2 * math.sqrt(beta * 10e-3) <= most


@pytest.mark.parametrize(
    ("name", "most"),
    [("J111", 30.0), ("J112", 50.0), ("J113", 100.0), ("MMBFJ113", 100.0), ("PN4393", 100.0), ("MMBF4393", 100.0)],
)  # read: r_DS(on) in Ω
def test_on_resistance(name: str, most: float) -> None:
    """For small V_DS the square law gives r_DS = |V_GS(off)|/(2·I_DSS)."""
    row = transistors()[name]
    assert row.vgsoff_intercept_typical / (2 * row.idss_typical) <= most


@pytest.mark.parametrize(
    ("name", "current", "volts"),
    [
        ("2N5457", 0.1e-3, 2.5),  # read: typical V_GS at 0.1 mA, V_DS 15 V
        ("2N5458", 0.2e-3, 3.5),  # read; the current from memory
        ("2N5459", 0.4e-3, 4.5),  # memory
    ],
)
def test_typical_gate_voltage_at_a_small_current(name: str, current: float, volts: float) -> None:
    """Our typical square law passes the sheet's typical bias point, which is not a field of the row."""
    row = transistors()[name]
    v_gs = row.vgsoff_intercept_typical * (1 - math.sqrt(current / row.idss_typical))
    assert v_gs == pytest.approx(volts, rel=0.005)


@pytest.mark.parametrize("name", ["BF245A", "BF245B", "BF245C"])
def test_group_voltages_at_200_microamperes_lead_to_the_family_cut_off(name: str) -> None:
    """Read: the family's V_GS(off) at 10 nA is 0.25 to 8 V; the groups state V_GS at 0.2 mA only.

    The converted corners must come out inside it, 5 % allowed at the top (square law taken down to nothing).
    """
    row = transistors()[name]
    assert 0.25 <= row.vgsoff_intercept_min < row.vgsoff_intercept_max <= 8.0 * 1.05


@pytest.mark.parametrize(
    ("name", "least"),
    [("2N3819", 0.5), ("MPF102", 0.5)],  # read: V_GS 0.5 to 7.5 V at 0.2 mA, V_DS 15 V
)
def test_lowest_cut_off_voltage_where_the_sheet_gives_none(name: str, least: float) -> None:
    row = transistors()[name]
    assert row.vgsoff_min == pytest.approx(least / (1 - math.sqrt(0.2e-3 / row.idss_min)), rel=0.05)


#: Read: least and most I_DSS in mA (None: not stated), least and most |V_GS(off)| in V, the drain current in A that
#: stands for cut-off, highest gate-drain voltage in V, highest power in mW (the older of two sheets where they differ).
TWINS = {
    "J111": (20.0, None, 3.0, 10.0, 1e-6, 35.0, 360.0),
    "MMBFJ113": (2.0, None, 0.5, 3.0, 1e-6, 35.0, 350.0),
    "MMBF4393": (5.0, 30.0, 0.5, 3.0, 1e-9, 30.0, 350.0),
    "MMBF5457": (1.0, 5.0, 0.5, 6.0, 10e-9, 25.0, 225.0),
    "MMBF5484": (1.0, 5.0, 0.3, 3.0, 10e-9, 25.0, 225.0),
    "MMBF5485": (4.0, 10.0, 0.5, 4.0, 10e-9, 25.0, 225.0),
    "MMBF5486": (8.0, 20.0, 2.0, 6.0, 10e-9, 25.0, 225.0),
}


@pytest.mark.parametrize("name", TWINS)
def test_limits_of_the_surface_mount_twins(name: str) -> None:
    """Read in the sheets of the small forms themselves (the 5485 and 5486 in that of an equal type; power from the
    5484's), not copied from the leaded ones."""
    row = transistors()[name]
    i_least, i_most, v_least, v_most, i_off, volts, power = TWINS[name]
    assert row.idss_min == pytest.approx(1e-3 * i_least)
    assert i_most is None or row.idss_max == pytest.approx(1e-3 * i_most)
    assert (row.vgsoff_min, row.vgsoff_max, row.vgsoff_id) == (v_least, v_most, i_off)
    assert row.vds_max == row.vgs_max == volts
    assert row.power_max == pytest.approx(1e-3 * power)
    assert ("idss_max" in row.estimates) == (i_most is None)


@pytest.mark.parametrize(
    ("least_a", "at_c", "hot_a"),
    [
        (1e-9, 100.0, 200e-9),  # read: 2N5457 and 2N5486
        (1e-9, 125.0, 1e-6),  # read: J309
        (10e-12, 150.0, 20e-9),  # read: 2N5545, typical
    ],
)
def test_leakage_at_two_temperatures_of_one_sheet(least_a: float, at_c: float, hot_a: float) -> None:
    """The law that the tool takes, twice for each 10 °C, against the second line of each sheet: a factor of 3 over
    75 to 125 degrees, in which it grows 200 to 2,000 times."""
    cold, hot = (
        jfet_from_sheet(idss=3e-3, vgsoff=-2.0, igss=least_a, temp_c=celsius).leakage
        for celsius in (25.0, at_c)
    )
    assert float(cold) == pytest.approx(least_a)
    assert hot_a / 3 < float(hot) < 3 * hot_a


def test_a_part_leaks_far_less_than_a_sheet_limits() -> None:
    """Read: 5 pA typical beside a limit of 1 nA (J111 to J113), 10 pA beside 100 pA, 3 pA in use (2N5545). No row that
    is offered holds a limit of nanoamperes."""
    rows = offered(transistors())
    assert all(rows[name].igss == 5e-12 for name in ("J111", "J112", "J113", "MMBFJ113"))
    assert all(row.igss <= 50e-12 for row in rows.values())
    assert {row.igss for row in transistors().values() if row.name not in rows} == {1e-9, 2e-9, 5e-9}


def test_capacitances_of_the_switch_types() -> None:
    """Read: drain-gate and source-gate at most 5 pF each with the gate reversed by 10 V, at most 28 pF together at no
    voltage (J111 to J113); the 4393 of the same chip at most 14 pF at V_DS 20 V, V_GS 0, and 3.5 pF reverse. Ours at
    that V_GS = 0 stand between."""
    reversed_, mine = transistors()["J113"], transistors()["MMBFJ113"]
    assert reversed_.ciss <= 10e-12 < mine.ciss <= 14e-12 < 28e-12
    for name in ("J111", "MMBFJ113", "MMBF4393", "PN4393-2"):
        row = transistors()[name]
        assert (row.ciss, row.crss) == (mine.ciss, mine.crss) and row.crss <= 3.5e-12


@pytest.mark.parametrize("name", ["2N5457", "2N5457-2", "MMBF5457"])
def test_typical_capacitances_of_the_5457(name: str) -> None:
    """Read, the same in both forms: C_iss 4.5 pF typical, C_rss 1.5 pF, at V_DS 15 V and V_GS 0."""
    assert (transistors()[name].ciss, transistors()[name].crss) == (4.5e-12, 1.5e-12)


@pytest.mark.parametrize(("milliamperes", "volts", "ohm"), [(25.0, 2.2, 52.0), (75.0, 4.8, 30.0)])
def test_on_resistance_of_two_parts_of_one_sheet(milliamperes: float, volts: float, ohm: float) -> None:
    """Read, the MMBF4392's note on its figure 10, which calls most parts within 10 %: the square law's
    |V_GS(off)|/(2·I_DSS) comes within 20 %."""
    assert volts / (2e-3 * milliamperes) == pytest.approx(ohm, rel=0.2)


def test_standing_current_of_a_converter() -> None:
    """Read, an application article: 30 µA from a cell of 3.6 V hold 16 V with no load, as a record low; read, another:
    fixed-rate chips take tenths of a milliampere. At 85 % ours draws between, seen from the cell."""
    row = batteries()["li-ion-9v-converter-2"]
    from_cell = row.standing * row.nominal_v / 3.6 / 0.85
    assert 30e-6 < from_cell < 1e-3
    assert batteries()[row.corrects].standing is None, "the older row keeps its figures"


def test_disc_formula_of_a_ceramic_makers_data_table() -> None:
    """Read, a maker's data table of PZT-5A and PZT-5H type ceramics: in picofarads and inches a disc's
    dielectric constant is 5.662·C·t/d² and a plate's 4.447·C·t/(l·w). Four printed digits, so 2e-4."""
    inch = 25.4e-3
    c_disc = disc_capacitance(0.787 * inch, 0.0087 * inch, 1800.0) * 1e12
    assert 5.662 * c_disc * 0.0087 / 0.787**2 == pytest.approx(1800.0, rel=2e-4)
    c_plate = strip_capacitance(2.6 * inch, 0.1 * inch, 0.1 * inch, 1800.0) * 1e12
    assert 4.447 * c_plate * 0.1 / (2.6 * 0.1) == pytest.approx(1800.0, rel=2e-4)


def test_disc_of_handbook_ceramic() -> None:
    """Relative permittivity 1700 for PZT-5A and 3400 for PZT-5H: Jaffe, Cook and Jaffe, Piezoelectric
    Ceramics (1971), from memory; makers' tables read give 1750 to 1800 and 3100 to 3450, so 10 %. A 20 mm
    disc 0.2 mm thick, worked by hand: 8.854 pF/m × 1700 × 314.16 mm² / 0.2 mm = 23.6 nF."""
    assert disc_capacitance(20e-3, 0.2e-3, 1700.0) == pytest.approx(23.6e-9, rel=2e-3)
    for permittivity, printed in ((1700.0, (1750.0, 1800.0)), (3400.0, (3100.0, 3250.0, 3450.0))):
        ours = disc_capacitance(20e-3, 0.2e-3, permittivity)
        for other in printed:
            assert ours == pytest.approx(disc_capacitance(20e-3, 0.2e-3, other), rel=0.10)


def test_brass_discs_have_permittivities_of_real_ceramics() -> None:
    """Makers' tables read: 500 (hard PZT-2) to 4400 (soft PZT-5X)."""
    for row in pickups().values():
        if "film" not in row.tags:
            assert 500 <= row.permittivity <= 4400


def test_film_capacitance_per_area() -> None:
    """Read, a film maker's technical manual: 380 pF/cm² at 28 µm, relative permittivity 12 to 13."""
    assert plate_capacitance(1e-4, 28e-6, 12.0) == pytest.approx(380e-12, rel=0.01)
    for row in pickups().values():
        if "film" in row.tags:
            assert 12 <= row.permittivity <= 13 and row.loss_tangent == 0.02
