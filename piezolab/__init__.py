"""piezolab: what pickup, transistor, cable and input do to the sound of a home-made instrument.

The pages are the tool; this is for a notebook of your own, beside them in `jupyter lab notebooks/` or elsewhere.
A chain holds pickup, stage, cable and input; a question takes a chain and answers in SI units::

    import piezolab
    from scipy.optimize import brentq
    bare, mistakes = piezolab.read_link("stage=direct&pickup_c=10n&cable_m=5&input=pedal-vintage")
    print(*mistakes or ["Nothing is wrong with the link."])
    staged = bare.but(stage="follower")
    print(piezolab.bias(staged).region, piezolab.figures(staged)["battery"]["life_h"], "hours")
    lost_db = lambda ohm: -piezolab.response(staged.but(gate_r=ohm)).low_note_re_midband_db
    least = brentq(lambda ohm: lost_db(ohm) - 1, 100e3, 100e6)
    print("The lowest string loses 1 dB with a gate resistor of", piezolab.show(least, "ohm"))
    piezolab.curve("where-does-the-bass-go", staged.but(gate_r=least)).update_layout(title="Just enough", height=600)

Chains: `SignalChain(pickup_c=10e-9, cable_m=5)` takes the words of a share link, `but` makes a changed copy;
`read_link` reads a link and says what is wrong with it, `to_query` writes one.

Questions: `loading`, `response`, `impedances`, `plugging`, `compare_inputs`, `bias`, `best_resistor`, `two_readings`,
`spread`, `levels`, `distortion`, `noise`, `hum`, `battery`; `help(piezolab.bias)` says what one takes, and the
help of its answer what that holds. `figures` gives all that the chapters show, as plain numbers.

Curves: `curve(chapter, chain)` is what a chapter draws, as a plotly `Figure` to keep, edit and save; the chapter is
the word of its address. `show(4.7e6, "ohm")` writes a value for people, `parse("4M7", "ohm")` reads one.
"""

from typing import Any

__version__ = "0.1.0"

# Name -> the module that it comes from, imported when it is first asked for: `import piezolab` alone stays fast.
_HOMES = {
    "SignalChain": "piezolab.chain",
    "ChainError": "piezolab.chain",
    "read_link": "piezolab.chain.link",
    "to_query": "piezolab.chain.link",
    "parse": "piezolab.quantity",
    "show": "piezolab.quantity",
    "loading": "piezolab.studies.loading",
    "response": "piezolab.studies.response",
    "impedances": "piezolab.studies.output",
    "plugging": "piezolab.studies.plugging",
    "compare_inputs": "piezolab.studies.inputs",
    "bias": "piezolab.studies.bias",
    "best_resistor": "piezolab.studies.choosing.best_resistor",
    "two_readings": "piezolab.studies.in_hand.two_readings",
    "spread": "piezolab.studies.choosing.spread",
    "levels": "piezolab.studies.levels",
    "distortion": "piezolab.studies.added_harmonics",
    "noise": "piezolab.studies.hiss",
    "hum": "piezolab.studies.hum",
    "battery": "piezolab.studies.fading_battery",
    "figures": "piezolab.studies.figures",
    "curve": "piezolab.pages.curve",
}


def __getattr__(name: str) -> Any:
    """The public names, each loaded when it is first asked for. Raises AttributeError for any other."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    found = globals()[name] = getattr(import_module(_HOMES[name]), name)
    return found


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOMES})
