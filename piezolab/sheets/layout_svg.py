"""A board layout as SVGs: one unit of their view box is a millimetre of paper, layers are named by meaning."""

from __future__ import annotations

from piezolab.faces import FAMILY
from piezolab.sheets.board_picture import Picture, drawn
from piezolab.sheets.layout_lettering import Lettering
from piezolab.sheets.words import fed_by, lane_name, part_name
from piezolab.studies.board.layout import Layout


def layout_svg(layout: Layout, adapter: bool = False, scale: float = 1.0, numbers: bool = False) -> str:
    """The board from its parts' side, with the names of lanes and wires beside it. adapter: whether one feeds it;
    scale: times true size; numbers: of the leads in the order of work."""
    picture = Picture(layout, scale=scale, numbers=numbers)
    lettering = Lettering()
    picture.busy(lettering)
    picture.edges(lettering, adapter)
    picture.names(lettering)
    layers = {
        "board": picture.board(), "copper": picture.copper(), "holes": picture.holes(), "cuts": picture.cuts(),
        "links": picture.links(), "parts": picture.parts(), "lettering": "".join(lettering.texts),
    }  # fmt: skip
    title = f"Layout on {layout.method.title}, {layout.width:.0f} × {layout.height:.0f} mm, seen from the parts' side"
    return drawn(picture, layers, lettering, title, layout_text(layout, adapter), "layout")


def copper_svg(layout: Layout, adapter: bool = False, scale: float = 1.0) -> str:
    """The side of the copper and the joints: of tape as it is stuck down, of other boards mirrored, as you solder."""
    behind = layout.method.key != "tape" or not layout.method.one_face
    picture = Picture(layout, mirror=behind, scale=scale)
    lettering = Lettering()
    picture.edges(lettering, adapter)
    layers = {
        "board": picture.board(), "copper": picture.copper(), "holes": picture.holes(), "cuts": picture.cuts(),
        "joints": picture.joints(), "lettering": "".join(lettering.texts),
    }  # fmt: skip
    title = "Copper side, mirrored" if behind else "The strips of tape alone"
    return drawn(picture, layers, lettering, title, "", "copper side")


def board_template_svg(layout: Layout, adapter: bool = False) -> str:
    """What to mark, cut and drill: the outline at true size, a cross at every joint, the cuts, the strips of tape."""
    behind = layout.grid is not None
    picture = Picture(layout, mirror=behind)
    lettering = Lettering()
    picture.edges(lettering, adapter)
    layers = {
        "board": picture.board(), "strips": picture.outlines(), "cuts": picture.cuts(), "drill": picture.crosses(),
        "lettering": "".join(lettering.texts),
    }  # fmt: skip
    title = "Template, from the copper side" if behind else "Template, from the parts' side"
    return drawn(picture, layers, lettering, title, "", "copper template")


def layout_text(layout: Layout, adapter: bool = False) -> str:
    """The layout in sentences: what lands on each lane, and where each part lies, in mm from the lower left corner."""
    sentences = [
        f"{lane_name(lane.node, adapter).capitalize()} lane: "
        + ", ".join(f"{fed_by(part_name(name), adapter)}{f' ({label})' if label else ''}" for name, label in lane.leads)
        + "."
        for lane in layout.lanes
    ]
    for part in layout.parts:
        places = " and ".join(f"{x:.1f}, {y:.1f}" for x, y in part.leads)
        sentences.append(f"{fed_by(part_name(part.name), adapter)} at {places} mm.")
    return " ".join(sentences)


def scale_bar_svg() -> str:
    """A bar of exactly 50 mm, with a mark at every centimetre."""
    # the outer marks stand inside the bar's ends, so that the bar is 50 mm from edge to edge
    places = [(x, 1 + min(max(x, 0.125), 49.875)) for x in range(0, 51, 10)]
    marks = "".join(
        f'<line x1="{at}" y1="1" x2="{at}" y2="{4 if x % 50 else 5}" stroke="currentColor" stroke-width="0.25"/>'
        for x, at in places
    )
    return (
        '<svg class="scale" xmlns="http://www.w3.org/2000/svg" role="img" width="80mm" height="6mm" viewBox="0 0 80 6" '
        f'font-family="{FAMILY}" font-size="2.6">'
        "<title>Scale bar, 50 mm: measure it on the paper</title>"
        '<rect class="fifty" x="1" y="1.6" width="50" height="1.4" fill="currentColor"/>'
        f'{marks}<text x="53" y="3.4" fill="currentColor">50 mm: measure it</text></svg>'
    )
