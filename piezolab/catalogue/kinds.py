"""Row classes for inputs, cables, batteries and pickups. SI units; see the head of each data file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from piezolab.catalogue.schema import Row, choice, flag, number, pairs, text, words

HOURS_A_YEAR = 8766.0


@dataclass(frozen=True, slots=True, kw_only=True)
class InputKind(Row):
    """What an instrument is plugged into: ``r`` Ω ∥ ``c`` F, clips at ``max_v_peak`` V, ``noise`` V/√Hz; it may feed
    small microphones with ``feed_v`` V through ``feed_ohm`` Ω."""

    r: float = number(100, 1e9, "ohm")
    c: float = number(0, 100e-9, "F")
    max_v_peak: float = number(1e-3, 100, "V")
    noise: float = number(0, 1e-6, "V/√Hz")
    phantom: bool = flag()
    feed_v: float | None = number(0.5, 12, "V", optional=True)
    feed_ohm: float | None = number(100, 100e3, "ohm", optional=True)
    tags: tuple[str, ...] = words()


@dataclass(frozen=True, slots=True, kw_only=True)
class CableKind(Row):
    """A pickup lead or output cable: ``c_per_m`` F/m across the signal."""

    c_per_m: float = number(10e-12, 1e-9, "F/m")
    screened: bool = flag()
    screen: str = text()
    use: str = choice("lead", "output", "both")
    tags: tuple[str, ...] = words()


@dataclass(frozen=True, slots=True, kw_only=True)
class ClampKind(Row):
    """A part that keeps a gate within bounds (see the head of its file): V, ohm, A at 25 degC, K, F."""

    type_number: str = text()
    way: str = choice("forward", "breakdown")
    holds_v: float = number(0.1, 30, "V")
    knee_v: float = number(0.02, 1, "V")
    ohm: float = number(0.1, 1000, "ohm")
    leak_a: float = number(0, 1e-6, "A")
    doubling_k: float = number(5, 20, "K")
    capacitance: float = number(0, 1e-9, "F")
    junctions: float = number(1, 4, "")
    may_a: float = number(1e-3, 100, "A")
    pieces: float = number(1, 8, "")


@dataclass(frozen=True, slots=True, kw_only=True)
class BatteryKind(Row):
    """A battery or pack: voltages V, ``capacity`` pairs (A, Ah), resistances Ω, shelf life in years, size in m;
    ``standing`` A: what it takes from itself, day and night, beside what it delivers."""

    nominal_v: float = number(1, 30, "V")
    fresh_v: float = number(1, 30, "V")
    end_v: float = number(0.5, 30, "V")
    capacity: tuple[tuple[float, float], ...] = pairs("A", "Ah")
    standing: float | None = number(1e-9, 0.1, "A", optional=True)
    r_fresh: float = number(0.01, 1000, "ohm")
    r_spent: float = number(0.01, 5000, "ohm")
    shelf_years: float = number(0.05, 30, "years")
    length: float = number(5e-3, 0.3, "m")
    width: float = number(3e-3, 0.3, "m")
    depth: float = number(1e-3, 0.2, "m")
    rechargeable: bool = flag()
    caution: str = text()
    tags: tuple[str, ...] = words()

    def problems(self) -> list[tuple[str, Any, str]]:
        """Add the checks between fields: voltage falls and resistance rises over the battery's life."""
        found = Row.problems(self)
        if not self.end_v < self.fresh_v:
            found.append(("end_v", self.end_v, f"less than fresh_v, {self.fresh_v:g} V"))
        if not self.end_v <= self.nominal_v <= self.fresh_v:
            found.append(
                ("nominal_v", self.nominal_v, f"from end_v to fresh_v, {self.end_v:g} to {self.fresh_v:g} V")
            )
        if self.r_spent < self.r_fresh:
            found.append(("r_spent", self.r_spent, f"at least r_fresh, {self.r_fresh:g} ohm"))
        if self.standing and self.shelf_years > (empty := self.capacity[0][1] / self.standing / HOURS_A_YEAR):
            found.append(("shelf_years", self.shelf_years, f"at most capacity over standing, {empty:.2g} years"))
        return found

    def capacity_ah(self, current: Any) -> Any:
        """Return the charge in Ah delivered down to ``end_v`` at a steady ``current`` in A (float, or array of any
        shape).

        Straight lines between the row's points on log-log axes (a Peukert law piece by piece). Below the
        first and above the last point the end value is held: at tiny currents shelf life decides, and beyond
        the last point the true capacity is lower than stated. A standing current adds to the one delivered and
        takes its share of the charge, so that capacity over current is always the time until the battery is empty.

        Raises:
            ValueError: a current is negative or not a number.
        """
        import numpy as np

        amps = np.asarray(current, dtype=float)
        if not np.all(amps >= 0):
            raise ValueError(f"battery current: {current} A is not allowed; allowed: 0 A or more")
        points = np.log(np.array(self.capacity))
        standing = self.standing or 0.0
        log_amps = np.log(np.maximum(amps + standing, self.capacity[0][0]))
        result = np.exp(np.interp(log_amps, points[:, 0], points[:, 1]))
        if standing:
            amps = np.maximum(amps, 1e-12)
            result = result * (amps / (amps + standing))
        return result if result.ndim else float(result)


@dataclass(frozen=True, slots=True, kw_only=True)
class PickupKind(Row):
    """A piezo pickup: capacitance F, insulation Ω, loss tangent, sizes in m, relative permittivity."""

    shape: str = choice("disc", "strip")
    capacitance: float = number(50e-12, 500e-9, "F")
    r_insulation: float = number(1e4, 1e11, "ohm")
    loss_tangent: float = number(0, 0.2, "")
    electrode_diameter: float | None = number(1e-3, 0.1, "m", optional=True)
    electrode_length: float | None = number(1e-3, 1, "m", optional=True)
    electrode_width: float | None = number(0.5e-3, 0.5, "m", optional=True)
    thickness: float = number(5e-6, 10e-3, "m")
    permittivity: float = number(1, 10e3, "")
    resonance_hz: float | None = number(500, 50e3, "Hz", optional=True)
    tags: tuple[str, ...] = words()

    def problems(self) -> list[tuple[str, Any, str]]:
        """Add the checks between fields: a disc has a diameter, a strip a length and a width."""
        found = Row.problems(self)
        is_disc = self.shape == "disc"
        for field, wanted in (
            ("electrode_diameter", is_disc),
            ("electrode_length", not is_disc),
            ("electrode_width", not is_disc),
        ):
            value = getattr(self, field)
            if (value is not None) != wanted:
                found.append((field, value, f"{'given' if wanted else 'left out'} for shape {self.shape}"))
        return found

    @property
    def capacitance_from_geometry(self) -> float:
        """Parallel-plate capacitance in F of the row's electrode, thickness and permittivity."""
        from piezolab.catalogue.disc import disc_capacitance, strip_capacitance

        if self.shape == "disc":
            return disc_capacitance(self.electrode_diameter, self.thickness, self.permittivity)
        return strip_capacitance(
            self.electrode_length, self.electrode_width, self.thickness, self.permittivity
        )
