"""What the circuit engine costs, as ratios taken in one run: against a closed form in bare numpy, and against
python-control on the same network. Run by name: make bench."""

import time
from collections.abc import Callable

import control
import numpy as np

from piezolab.circuit.distortion import harmonics
from piezolab.circuit.elements import GROUND, Capacitor, Inductor, Jfet, Resistor, VoltageSource
from piezolab.circuit.jfet import jfet_from_sheet
from piezolab.circuit.load_line import load_line
from piezolab.circuit.network import Network
from piezolab.circuit.noise import noise
from piezolab.circuit.operating_point import operating_point
from piezolab.circuit.small_signal import linearised, transfer
from tests.circuit.stages import stage

FREQUENCY = np.geomspace(20, 20e3, 400)
Show = Callable[[str, dict[str, str]], None]


def _together(works: dict[str, Callable[[], object]], rounds: int = 40, least_s: float = 1e-3) -> dict[str, float]:
    """Least seconds of each work, taken in turn so that what else the computer does meets all alike."""
    times = {}
    for name, work in works.items():
        work()
        start = time.perf_counter()
        work()
        times[name] = max(1, int(least_s / max(time.perf_counter() - start, 1e-9)))
    spent: dict[str, list[float]] = {name: [] for name in works}
    for _ in range(rounds):
        for name, work in works.items():
            start = time.perf_counter()
            for _ in range(times[name]):
                work()
            spent[name].append((time.perf_counter() - start) / times[name])
    return {name: min(values) for name, values in spent.items()}


def _table(found: dict[str, float], base: str) -> dict[str, str]:
    return {name: f"{value * 1e6:9.1f} us  {value / found[base]:8.2f}" for name, value in found.items()}


def _bare(resonant: bool = False) -> Network:
    body = [Capacitor("C_p", "source", "hot", 15e-9)]
    if resonant:
        body = [
            Capacitor("C_m", "source", "mass", 3e-9),
            Inductor("L_m", "mass", "damping", 0.1),
            Resistor("R_m", "damping", "hot", 300.0),
            Capacitor("C_0", "hot", GROUND, 12e-9),
        ]
    return Network(
        [
            VoltageSource("pickup", "source", GROUND),
            *body,
            Resistor("R_p", "hot", GROUND, 1e9),
            Capacitor("C_lead", "hot", GROUND, 330e-12),
            Resistor("R_L", "hot", GROUND, 1e6),
            Capacitor("C_L", "hot", GROUND, 30e-12),
        ]
    )


def _follower() -> Network:
    model = jfet_from_sheet(idss=3e-3, vgsoff=-1.0, lambda_=0.02, ciss=5e-12, crss=2e-12, igss=1e-12)
    return Network(
        [
            VoltageSource("pickup", "source", GROUND),
            Capacitor("C_p", "source", "hot", 15e-9, 0.02),
            Resistor("R_p", "hot", GROUND, 1e9),
            Capacitor("C_lead", "hot", GROUND, 30e-12),
            Resistor("R_G", "hot", GROUND, 4.7e6),
            VoltageSource("battery", "plus", GROUND, 9.0),
            Jfet("Q", "plus", "hot", "low", model),
            Resistor("R_S", "low", GROUND, 3.9e3),
            Capacitor("C_out", "low", "out", 2.2e-6),
            Resistor("bleed", "out", GROUND, 1e5),
            Capacitor("C_cable", "out", GROUND, 330e-12),
            Resistor("R_in", "out", GROUND, 1e6),
        ]
    )


def _closed_form() -> np.ndarray:
    s, ohm = 2j * np.pi * FREQUENCY, 1 / (1 / 1e9 + 1 / 1e6)
    return s * ohm * 15e-9 / (1 + s * ohm * (15e-9 + 360e-12))


def test_response_of_a_bare_pickup(report: Show) -> None:
    """400 points. The aim is under eight times the closed form, from elements to response."""
    network, resonant = _bare(), _bare(resonant=True)
    ohm = 1 / (1 / 1e9 + 1 / 1e6)
    system = control.tf([ohm * 15e-9, 0], [ohm * (15e-9 + 360e-12), 1])
    assert np.allclose(transfer(network, FREQUENCY, "pickup", "hot"), _closed_form(), rtol=1e-12)
    assert np.allclose(np.squeeze(system(2j * np.pi * FREQUENCY)), _closed_form(), rtol=1e-12)
    found = _together(
        {
            "closed form in numpy": _closed_form,
            "response": lambda: transfer(network, FREQUENCY, "pickup", "hot"),
            "elements and response": lambda: transfer(_bare(), FREQUENCY, "pickup", "hot"),
            "with a resonant disc": lambda: transfer(resonant, FREQUENCY, "pickup", "hot"),
            "python-control, evaluated": lambda: system(2j * np.pi * FREQUENCY),
            "python-control, frequency_response": lambda: control.frequency_response(system, 2 * np.pi * FREQUENCY),
        }
    )
    report("bare pickup, 400 points", _table(found, "closed form in numpy"))
    assert found["elements and response"] < 12 * found["closed form in numpy"]


def test_response_of_a_follower(report: Show) -> None:
    """400 points, beside python-control on the state equations of the same linear network."""
    network = _follower()
    point = operating_point(network)
    linear = linearised(network, point)
    at, model = point.jfets["Q"], network["Q"].model
    # states: v(hot), v(low), v(out), driven through C_p; the loss tangent is left out, which costs no time
    g_g, g_m, g_ds = 1 / 1e9 + 1 / 4.7e6, float(at.g_m), float(at.g_ds)
    c_gs, c_gd = float(model.cgs), float(model.cgd)
    c = np.array(
        [
            [15e-9 + 30e-12 + c_gs + c_gd, -c_gs, 0],
            [-c_gs, c_gs + 2.2e-6, -2.2e-6],
            [0, -2.2e-6, 2.2e-6 + 330e-12],
        ]
    )
    g = np.array([[g_g, 0, 0], [-g_m, g_m + g_ds + 1 / 3.9e3, 0], [0, 0, 1 / 1e5 + 1 / 1e6]])
    feed = np.linalg.solve(c, np.array([15e-9, 0, 0]))
    a = -np.linalg.solve(c, g)
    system = control.ss(a, (a @ feed)[:, None], [[0, 0, 1]], [[feed[2]]])
    lossless = network.changed("C_p", loss_tangent=0.0)
    expected = transfer(linearised(lossless, point), FREQUENCY, "pickup", "out")
    assert np.allclose(np.squeeze(system(2j * np.pi * FREQUENCY)), expected, rtol=1e-6)
    found = _together(
        {
            "closed form of the bare pickup": _closed_form,
            "response": lambda: transfer(linear, FREQUENCY, "pickup", "out"),
            "elements to response": lambda: _from_elements(),
            "noise, all contributors": lambda: noise(network, point, FREQUENCY, "out"),
            "python-control, evaluated": lambda: system(2j * np.pi * FREQUENCY),
            "python-control, frequency_response": lambda: control.frequency_response(system, 2 * np.pi * FREQUENCY),
        }
    )
    report("follower, 400 points", _table(found, "closed form of the bare pickup"))
    assert found["response"] < found["python-control, evaluated"]


def _from_elements() -> np.ndarray:
    network = _follower()
    return transfer(linearised(network, operating_point(network)), FREQUENCY, "pickup", "out")


def test_operating_points(report: Show) -> None:
    """10,000 builds at once, against one at a time; and one against 400 points of its response."""
    many = stage(np.random.default_rng(1), 10_000, "bias")
    one = _follower()
    linear = linearised(one, operating_point(one))
    found = _together(
        {
            "one": lambda: operating_point(one),
            "10,000 in one batch": lambda: operating_point(many),
            "response of one, 400 points": lambda: transfer(linear, FREQUENCY, "pickup", "out"),
        },
        rounds=7,
    )
    report("operating point", _table(found, "one"))
    assert found["10,000 in one batch"] < 0.2 * 10_000 * found["one"]


def test_large_signals(report: Show) -> None:
    """Twenty periods of 256 samples in time, against the static transfer on the load line."""
    network = _follower()
    point = operating_point(network)
    drive = np.sin(2 * np.pi * np.arange(256) / 256)
    found = _together(
        {
            "load line and 256 points": lambda: load_line(network, point, 1e3, "pickup", "out").at(drive),
            "20 periods, one level": lambda: harmonics(network, point, "pickup", 1.0, "out"),
            "20 periods, 50 levels": lambda: harmonics(network, point, "pickup", np.linspace(0.02, 2, 50), "out"),
        },
        rounds=3,
    )
    report("distortion at 1 kHz", _table(found, "load line and 256 points"))
    assert found["20 periods, 50 levels"] < 10 * found["20 periods, one level"]
