"""The build sheet's data for a page: each part asked of the studies when something first looks at it.

The print asks for all at once (`sheets.sheet_data`), which takes seconds. A page shows some of it, and its folded
sections may never be opened.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.assembly import Assembly, assemble
from piezolab.sheets.sheet_data import JIG_OHM, SheetOptions
from piezolab.studies.board.layout import Layout, LayoutError, layout, smallest_sentence
from piezolab.studies.metering.board_under_meter import BoardUnderMeter, under_meter
from piezolab.studies.metering.expected import (
    Expected,
    LaneOhms,
    LaneVolts,
    TransistorCheck,
    jig_volts,
    meter_ohms,
    meter_volts,
    transistor_check,
)
from piezolab.studies.metering.first_power import FirstPower, first_power
from piezolab.studies.metering.tone_on_board import Exchange, ToneVolts, exchange, tone_volts
from piezolab.studies.shopping import Item, other_types, shopping


class LazySheet:
    """What `SheetData` holds, under the same names."""

    def __init__(self, chain: SignalChain, options: SheetOptions) -> None:
        self.chain, self.options = chain, replace(options, layout=options.board(chain))

    @property
    def powered(self) -> bool:
        return self.chain.topology.powered

    @property
    def phantom(self) -> bool:
        return any(catalogue.inputs()[kind].phantom for kind in self.chain.input)

    @cached_property
    def assembly(self) -> Assembly:
        return assemble(self.chain.values)

    @cached_property
    def items(self) -> tuple[Item, ...]:
        return shopping(self.chain)

    @cached_property
    def types(self) -> tuple[str, ...]:
        return other_types(self.chain)

    @cached_property
    def _board(self) -> tuple[Layout | None, str]:
        try:
            board = layout(self.chain, self.options.layout)
        except LayoutError as error:
            return None, str(error)
        fits = board is None or board.fits
        return board, "" if fits else smallest_sentence(board, self.options.layout.board)

    @property
    def layout(self) -> Layout | None:
        return self._board[0]

    @property
    def layout_problem(self) -> str:
        return self._board[1]

    @cached_property
    def _bench(self) -> BoardUnderMeter | None:
        return under_meter(self.chain, self.options.schottky) if self.powered else None

    @cached_property
    def volts(self) -> tuple[LaneVolts, ...]:
        return meter_volts(self._bench, self.options.meter) if self._bench else ()

    @cached_property
    def ohms(self) -> tuple[LaneOhms, ...]:
        beeps = self.options.beeps_below
        return meter_ohms(self._bench, self.options.meter, beeps_below=beeps) if self._bench else ()

    @cached_property
    def tone(self) -> tuple[ToneVolts, ...]:
        return tone_volts(self._bench, self.options.meter) if self._bench else ()

    @cached_property
    def power(self) -> FirstPower | None:
        return first_power(self.chain, self.options.schottky, self.options.meter) if self.powered else None

    @cached_property
    def transistor(self) -> TransistorCheck | None:
        return transistor_check(self.chain) if self.powered else None

    @cached_property
    def jig(self) -> tuple[Expected, Expected] | None:
        return jig_volts(self.chain, *JIG_OHM, self.options.meter) if self.powered else None

    @cached_property
    def exchange(self) -> Exchange | None:
        return exchange(self.chain)
