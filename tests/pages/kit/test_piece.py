"""What a browser says of a page's widgets is not taken on trust."""

import pytest
import traitlets
from ipywidgets import Layout, VBox, Widget

from piezolab.pages.kit.blocks import Block


def said(widget: Widget, **state: object) -> None:
    """A browser says what a widget's state is."""
    widget._handle_msg({"content": {"data": {"method": "update", "state": state}}, "buffers": []})


def test_a_browsers_word_on_a_layout_or_a_piece_changes_nothing_and_is_no_error():
    block = Block("verdict", "It works.")
    for layout in (block.layout, VBox([block]).layout):
        said(layout, width="1px", border=7, no_such="x")
        assert layout.width is None
    said(block, content="<script>", kind=3)
    assert block.content == "It works."


def test_the_stock_layout_would_take_it_or_raise():
    """When it does neither any more, a layout needs no `set_state` of ours."""
    layout = Layout()
    Widget.set_state(layout, {"width": "1px"})
    assert layout.width == "1px"
    with pytest.raises(traitlets.TraitError):
        Widget.set_state(layout, {"width": 7})
