"""The board as its maker builds it: kind and size of board, switch, diode, meter. One description for every reader.

The chain says what the circuit is; this says what it is made of and what it is checked with.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.parameter import ParameterError
from piezolab.chain.stages.second_transistor import TYPE as SECOND_TYPE
from piezolab.studies.board.layout import Options
from piezolab.studies.build_options import (
    NO_DIODE,
    NO_LED,
    NO_RECORDER,
    OPTIONS,
    read_option,
    unknown_option,
    write_option,
)
from piezolab.studies.metering.instrument import Meter


@dataclass(frozen=True)
class BoardAsBuilt:
    """One value for each option of `build_options.OPTIONS`, under its key; None: what the option's `optional_from`
    says. Raises ParameterError, whose sentence names label, value and allowed range."""

    method: str = OPTIONS["method"].default
    board: tuple[float, float] | None = OPTIONS["board"].default
    lane_width: float | None = OPTIONS["lane_width"].default
    base: str = OPTIONS["base"].default
    joints: str = OPTIONS["joints"].default
    switch: str = OPTIONS["switch"].default
    diode: str = OPTIONS["diode"].default
    led: str = OPTIONS["led"].default
    lead: str = OPTIONS["lead"].default
    pins: str | None = OPTIONS["pins"].default
    meter_ohm: float = OPTIONS["meter_ohm"].default
    counts: int = OPTIONS["counts"].default
    accuracy: float = OPTIONS["accuracy"].default
    digits: int = OPTIONS["digits"].default
    ohm_max: float = OPTIONS["ohm_max"].default
    test_v: float = OPTIONS["test_v"].default
    low_v: float = OPTIONS["low_v"].default
    low_a: float = OPTIONS["low_a"].default
    ac: str = OPTIONS["ac"].default
    beeps_below: float = OPTIONS["beeps_below"].default
    tone_v: float = OPTIONS["tone_v"].default
    recorder: str = OPTIONS["recorder"].default
    currency: str | None = OPTIONS["currency"].default
    lettering: str = OPTIONS["lettering"].default
    ink: str = OPTIONS["ink"].default

    def __post_init__(self) -> None:
        for key, option in OPTIONS.items():
            value = getattr(self, key)
            if value is not None or option.default is not None:
                object.__setattr__(self, key, option.check(value))

    @property
    def guarded(self) -> bool:
        """Whether a diode guards against a reversed battery."""
        return self.diode != NO_DIODE

    @property
    def lit(self) -> bool:
        """Whether a light shows that the battery is on."""
        return self.led != NO_LED

    @property
    def ring(self) -> bool:
        """Whether the jack's ring contact switches the battery."""
        return self.switch == "ring"

    @property
    def reads_ac(self) -> bool:
        """Whether the meter reads small AC volts."""
        return self.ac == "yes"

    @property
    def records(self) -> bool:
        """Whether a sweep can be recorded."""
        return self.recorder != NO_RECORDER

    @property
    def meter(self) -> Meter:
        """The meter: the one that every reading to expect, the sheet and the search for a fault are given."""
        return Meter(
            input_ohm=self.meter_ohm, counts=self.counts, accuracy=self.accuracy, digits=self.digits,
            ac_ranges=None if self.reads_ac else (), ohm_max=self.ohm_max, test_v=self.test_v, low_v=self.low_v,
            low_a=self.low_a,
        )  # fmt: skip

    def layout(self, chain: SignalChain) -> Options:
        """The layout's options for a chain: the legs in the order that its type usually has, where none was said."""
        first = _usual_legs(chain.jfet) if chain.topology.powered else Options().pins
        other = chain.topology.has(SECOND_TYPE) and chain[SECOND_TYPE] != chain.jfet
        return Options(
            self.method, self.board, self.lane_width, pins=self.pins or first, ring=self.ring, joints=self.joints,
            second_pins=_usual_legs(chain[SECOND_TYPE]) if other else None,
        )  # fmt: skip

    @property
    def values(self) -> dict[str, Any]:
        """Option key -> value, in the table's order."""
        return {each.name: getattr(self, each.name) for each in fields(self)}

    @property
    def texts(self) -> dict[str, str]:
        """Option key -> text of what differs from the defaults, for the browser's store."""
        return {
            key: write_option(key, value) for key, value in self.values.items() if value != OPTIONS[key].default
        }


def _usual_legs(name: str) -> str:
    """The order of legs that a type usually has."""
    seen = catalogue.transistors()[name].pins_seen
    return next((order for order in seen if sorted(order.split()) == ["D", "G", "S"]), Options().pins)


def read_build(
    texts: Mapping[str, str],
    before: BoardAsBuilt | None = None,
    keys: Sequence[str] = tuple(OPTIONS),
    *,
    typed: bool = False,
) -> tuple[BoardAsBuilt, dict[str, str]]:
    """A build from texts by key, and one sentence by key for each that cannot be used, whose value then stays.

    before: the build that the texts change, the default one if None; keys: those that may be given; typed: as in
    `read_option`.
    """
    values: dict[str, Any] = {}
    problems: dict[str, str] = {}
    for key, text in texts.items():
        if key not in keys:
            problems[key] = unknown_option(key, tuple(keys))
            continue
        try:
            values[key] = read_option(key, text, typed=typed)
        except ParameterError as error:
            problems[key] = str(error)
    return replace(before or BoardAsBuilt(), **values), problems
