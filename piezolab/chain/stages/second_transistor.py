"""The second transistor of a stage that has one: its own type, and what was measured of it."""

from __future__ import annotations

from collections.abc import Mapping

from piezolab.chain.parameter import Choice, Quantity
from piezolab.chain.values import Values
from piezolab.circuit.jfet import JfetModel, jfet_from_sheet

TYPE = "second"  # the key of its type


def type_words() -> Mapping[str, str]:
    """Transistor types by the catalogue's word; rows that a better one has replaced say that they are the old ones."""
    from piezolab import catalogue

    rows = catalogue.transistors()
    now = catalogue.offered(rows)
    return {name: row.type_number if name in now else f"{name}, as old links have it" for name, row in rows.items()}


SECOND = Choice(
    TYPE, "second transistor type", "stage", None, "The first one's type where no other is chosen.",
    optional_from="the first", options=type_words,
)  # fmt: skip
SECOND_IDSS = Quantity(
    "second_idss", "second transistor's I_DSS", "stage", None, "Its drain current with gate and source joined.",
    optional_from="the second's type", unit="A", low=10e-6, high=200e-3,
)  # fmt: skip
SECOND_VDS = Quantity(
    "second_vds", "V_DS of the second's I_DSS reading", "stage", None, "Voltage from drain to source at that reading.",
    optional_from="the second's type", unit="V", low=0.0, high=40.0, linear=True,
)  # fmt: skip
SECOND_VGSOFF = Quantity(
    "second_vgsoff", "second transistor's V_GS(off)", "stage", None, "Gate voltage that stops its drain current.",
    optional_from="the second's type", unit="V", low=0.1, high=15.0, negative=True,
)  # fmt: skip

#: In the link's order.
CONTROLS = (SECOND, SECOND_IDSS, SECOND_VDS, SECOND_VGSOFF)


def second_model(values: Values) -> JfetModel:
    """The second transistor of these values at their temperature; what cannot be entered is its type's."""
    from piezolab import catalogue

    kind = catalogue.transistors()[values.second]
    return jfet_from_sheet(
        idss=values.second_idss,
        vgsoff=values.second_vgsoff,
        lambda_=kind.lambda_,
        vds_test=values.second_vds,
        ciss=kind.ciss,
        crss=kind.crss,
        igss=kind.igss,
        corner_hz=kind.noise_corner,
        temp_c=values.temp_c,
    )
