"""The table of settings that every chain has; a stage adds its own (see `stages`).

The order is that of the share link. Defaults and ranges are frozen for link format 1: an old link keeps its meaning.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType

from piezolab.chain.joined import Several, Tuning, Words
from piezolab.chain.parameter import Choice, Parameter, Picked, Quantity
from piezolab.chain.stages import Stage, all_stages, controls
from piezolab.chain.stages.second_transistor import type_words

LINK_FORMAT = 1

GROUPS = MappingProxyType(
    {
        "instrument": "the instrument",
        "pickup": "the pickup",
        "lead": "the pickup's lead",
        "stage": "the stage",
        "supply": "the battery",
        "cable": "the cable",
        "input": "the input",
        "room": "the room",
    }
)

DISCS = MappingProxyType(
    {
        "1": "one disc",
        "2p": "two in parallel",
        "2s": "two in series",
        "2px": "two in parallel, opposed",
        "2sx": "two in series, opposed",
    }
)


CLAMPS = MappingProxyType({"none": "none", "pair": "a pair to ground", "rails": "to ground and supply"})


def _inputs() -> Mapping[str, str]:
    from piezolab import catalogue

    return {name: row.label for name, row in catalogue.inputs().items()}


def _supplies() -> Mapping[str, str]:
    from piezolab import catalogue

    rows = catalogue.batteries()
    now = catalogue.offered(rows)
    labels = {name: row.label if name in now else f"{row.label}, as old links have it" for name, row in rows.items()}
    return {**labels, "adapter": "a mains adapter"}


def _clamps() -> Mapping[str, str]:
    from piezolab import catalogue

    return {name: f"{row.label}, {row.type_number}" for name, row in catalogue.clamps().items()}


def _stages() -> Mapping[str, str]:
    return {name: stage.title for name, stage in all_stages().items()}


BEFORE_STAGE: tuple[Parameter, ...] = (
    Picked("v", "link format", "link", 1, picks=(LINK_FORMAT,), low=1, high=1),
    Tuning("tuning", "strings", "instrument", "D3-A3-D4",
           "The open strings, low to high; they are marked in the plots."),
    Quantity(
        "pickup_c", "pickup capacitance", "pickup", 15e-9, "What a capacitance meter shows across one bare disc.",
        unit="F", low=50e-12, high=500e-9,
    ),
    Quantity(
        "pickup_r", "pickup leakage resistance", "pickup", 1e9,
        "Insulation of the disc itself; damp, flux and fingerprints lower it.", unit="ohm", low=10e3, high=100e9,
    ),
    Quantity(
        "pickup_loss", "dielectric loss tangent", "pickup", 0.02,
        "Loss in the ceramic; it makes a little hiss of its own.", low=0.0, high=0.2, linear=True,
    ),
    Choice("discs", "discs", "pickup", "1", "One disc, or two and how they are joined.", options=DISCS),
    Several(
        "resonance", "disc resonance", "pickup", None,
        "Ringing of a disc that is not glued down; a glued one is damped.",
        parts=(
            Quantity("resonance", "resonance frequency", "pickup", unit="Hz", low=500.0, high=50e3),
            Quantity("resonance", "resonance Q", "pickup", low=1.0, high=500.0),
            Quantity("resonance", "resonance k", "pickup", low=0.01, high=1.0),
        ),
    ),
    Quantity(
        "play_v", "hard playing, open-circuit peak", "pickup", 1.0,
        "The highest voltage that your hardest stroke makes across the unloaded pickup.",
        unit="V", low=1e-3, high=100.0,
    ),
    Quantity("lead_m", "pickup lead length", "lead", 0.3, "From the disc to the stage or jack.",
             unit="m", low=0.0, high=20.0, linear=True),
    Quantity("lead_c", "pickup lead capacitance per metre", "lead", 100e-12,
             "Screened lead: about 100 pF in each metre.", unit="F/m", low=10e-12, high=1e-9),
    Choice("stage", "stage", "stage", "follower", "What stands between the pickup and the cable.", options=_stages),
)  # fmt: skip

# what an entered value replaces comes from the transistor type
TRANSISTOR: tuple[Parameter, ...] = (
    Choice("jfet", "transistor type", "stage", None, "The type number printed on the part.",
           optional_from="the catalogue", options=type_words),
    Quantity("jfet_idss", "I_DSS", "stage", None, "Drain current with gate and source joined.",
             optional_from="the type", unit="A", low=10e-6, high=200e-3),
    Quantity("jfet_vds", "V_DS of the I_DSS reading", "stage", None, "Voltage from drain to source at that reading.",
             optional_from="the type", unit="V", low=0.0, high=40.0, linear=True),
    Quantity("jfet_vgsoff", "V_GS(off)", "stage", None, "Gate voltage that stops the drain current.",
             optional_from="the type", unit="V", low=0.1, high=15.0, negative=True),
    Quantity("jfet_lambda", "channel-length modulation", "stage", None, "How much the drain current rises with V_DS.",
             optional_from="the type", unit="1/V", low=0.0, high=0.2, linear=True),
    Quantity("jfet_ciss", "input capacitance C_iss", "stage", None, "Gate to source plus gate to drain.",
             optional_from="the type", unit="F", low=0.1e-12, high=200e-12),
    Quantity("jfet_crss", "reverse transfer capacitance C_rss", "stage", None, "Gate to drain.",
             optional_from="the type", unit="F", low=0.0, high=100e-12),
    Quantity("jfet_ig", "gate leakage", "stage", None, "Current into the gate at 25 °C; doubles for each 10 °C.",
             optional_from="the type", unit="A", low=0.0, high=1e-6),
    Quantity("jfet_corner", "1/f noise corner", "stage", None, "Below it the transistor's hiss turns into rumble.",
             optional_from="the type", unit="Hz", low=0.0, high=100e3),
)  # fmt: skip

AFTER_STAGE: tuple[Parameter, ...] = (
    Choice("clamp", "clamp at the gate", "stage", "none", "Keeps a knock on the disc within what the gate may take.",
           options=CLAMPS),
    Choice("clamp_part", "clamp's part", "stage", None, "What the clamp is made of.",
           optional_from="the catalogue", options=_clamps),
    Choice("supply", "supply", "supply", None, "The battery, or a mains adapter.",
           optional_from="the catalogue", options=_supplies),
    Quantity("supply_v", "supply voltage", "supply", None, "At the battery clip, with the stage running.",
             optional_from="the battery", unit="V", low=1.0, high=30.0, linear=True),
    Quantity("supply_r", "series supply resistor", "supply", 0.0, "Between battery and stage.",
             unit="ohm", low=0.0, high=100e3),
    Quantity("supply_c", "supply decoupling", "supply", 10e-6, "From the stage's supply lane to ground.",
             unit="F", low=0.0, high=10e-3),
    Quantity("other_current", "other current", "supply", 0.0, "What else draws from the battery, such as a lamp.",
             unit="A", low=0.0, high=1.0),
    Quantity("ripple_v", "adapter ripple", "supply", 10e-3, "Rms, at twice the mains frequency; an adapter only.",
             unit="V", low=0.0, high=1.0),
    Quantity("cable_m", "output cable length", "cable", 3.0, "From the jack to the input.",
             unit="m", low=0.0, high=100.0, linear=True),
    Quantity("cable_c", "output cable capacitance per metre", "cable", 100e-12, "Ordinary cable: about 100 pF/m.",
             unit="F/m", low=10e-12, high=1e-9),
    Several("pad", "pad", "input", None, "A series and a shunt resistor before the input.",
            parts=(Quantity("pad", "pad series resistor", "input", unit="ohm", low=1.0, high=10e6),
                   Quantity("pad", "pad shunt resistor", "input", unit="ohm", low=1.0, high=10e6))),
    Words("input", "input", "input", ("amplifier",), "What the cable is plugged into; two share the signal.",
          options=_inputs),
    Quantity("input_r", "input resistance", "input", None, "Of the input you plug into.",
             optional_from="the kind", unit="ohm", low=100.0, high=1e9),
    Quantity("input_c", "input capacitance", "input", None, "Of the input you plug into.",
             optional_from="the kind", unit="F", low=0.0, high=100e-9),
    Quantity("input_max", "largest input level", "input", None, "Peak, before the input clips.",
             optional_from="the kind", unit="V", low=1e-3, high=100.0),
    Quantity("input_noise", "input noise", "input", None, "The input's own hiss.",
             optional_from="the kind", unit="V/rtHz", low=0.0, high=1e-6),
    Quantity("hum_c", "coupling from room wiring", "room", 0.5e-12,
             "Stray capacitance from wiring to the pickup's hot side.",
             unit="F", low=0.0, high=100e-12),
    Quantity("shield_db", "shield", "room", 0.0, "How much a shield lowers that coupling (an assumption).",
             unit="dB", low=0.0, high=120.0, linear=True),
    Quantity("cable_hum_c", "coupling into the output cable", "room", 0.0,
             "Stray capacitance from wiring to its inner wire; a good screen leaves hardly any.",
             unit="F", low=0.0, high=100e-12),
    Picked("mains_hz", "mains frequency", "room", 50.0, "Printed on any mains plug-in device.",
           unit="Hz", low=50.0, high=60.0, picks=(50.0, 60.0)),
    Picked("mains_v", "mains voltage", "room", 230.0, "Pick it from the list; never measure it.",
           unit="V", low=100.0, high=240.0, picks=(100.0, 110.0, 120.0, 127.0, 220.0, 230.0, 240.0)),
    Quantity("loop_v", "ground-loop voltage", "room", 0.0, "Rms, along the output cable's screen.",
             unit="V", low=0.0, high=1.0),
    Quantity("temp_c", "temperature", "room", 25.0, "Of the instrument.",
             unit="degC", low=-20.0, high=60.0, linear=True),
)  # fmt: skip


#: Keys that every chain has, whatever its stages.
COMMON = frozenset(parameter.key for parameter in (*BEFORE_STAGE, *TRANSISTOR, *AFTER_STAGE))


def all_parameters() -> Mapping[str, Parameter]:
    """Every parameter by key, in the link's order, those of the stages included.

    Raises ValueError where a stage has a control of its own by the key of a setting that every chain has.
    """
    return _table(tuple(all_stages().values()))


@lru_cache(maxsize=8)  # asked for at each look at a chain
def _table(stages: tuple[Stage, ...]) -> Mapping[str, Parameter]:
    for stage in stages:
        for control in stage.controls:
            if control.key in COMMON:
                raise ValueError(f"{stage.key}: control {control.key!r} has the key of a setting that every chain has")
    table = (*BEFORE_STAGE, *TRANSISTOR, *controls(), *AFTER_STAGE)
    return MappingProxyType({parameter.key: parameter for parameter in table})
