"""Tables: plain texts, escaped, with numbers that keep their units."""

import pytest

from piezolab.pages.kit.blocks import table


@pytest.mark.parametrize("value", ["4.51 MΩ", "12 %", "-3.2 dB", "256 µA", "20 mm", "−6.0 dBu", "22 °C"])
def test_a_line_of_a_cell_never_ends_between_number_and_unit(value):
    number, unit = value.split(" ")
    kept = f"{number}\u00a0{unit}"
    assert f"<td>{kept} to {kept}</td>" in table(["", "reads"], [["gate", f"{value} to {value}"]])


@pytest.mark.parametrize("text", ["2 makers", "3 of 4", "9 Volts of it"])
def test_other_words_may_go_to_the_next_line(text):
    assert f"<td>{text}</td>" in table(["", "what"], [["row", text]])


def test_every_text_of_a_table_is_escaped():
    made = table(["<i>", "<b>"], [["<u>", "<s> 1 V"]], caption="<a>")
    assert not any(mark in made for mark in ("<i>", "<b>", "<u>", "<s>", "<a>"))
