"""Convex shapes in the plane, in millimetres: what a part covers, and whether two of them collide."""

from __future__ import annotations

from math import cos, hypot, pi, sin

PointMm = tuple[float, float]
Polygon = tuple[PointMm, ...]


def bar(a: PointMm, b: PointMm, length: float, width: float) -> Polygon:
    """A rectangle in the middle between a and b, its length along the line from a to b."""
    (ax, ay), (bx, by) = a, b
    distance = hypot(bx - ax, by - ay)
    ux, uy = ((bx - ax) / distance, (by - ay) / distance) if distance else (1.0, 0.0)
    x, y, half, side = (ax + bx) / 2, (ay + by) / 2, length / 2, width / 2
    return tuple(
        (x + s * half * ux - t * side * uy, y + s * half * uy + t * side * ux)
        for s, t in ((1, 1), (-1, 1), (-1, -1), (1, -1))
    )


def line(a: PointMm, b: PointMm, width: float) -> Polygon:
    """A strip of a width from a to b."""
    return bar(a, b, hypot(b[0] - a[0], b[1] - a[1]) + width, width)


def disc(centre: PointMm, across: float) -> Polygon:
    """A twelve-sided stand-in for a circle, drawn round it."""
    r = across / 2 / cos(pi / 12)
    return tuple((centre[0] + r * cos(n * pi / 6), centre[1] + r * sin(n * pi / 6)) for n in range(12))


def bounds(polygon: Polygon) -> tuple[float, float, float, float]:
    """Least x, least y, most x, most y."""
    xs, ys = [x for x, _ in polygon], [y for _, y in polygon]
    return min(xs), min(ys), max(xs), max(ys)


def collide(one: Polygon, other: Polygon) -> bool:
    """Whether two convex polygons share an area (separating-axis theorem)."""
    for polygon in (one, other):
        for n, (x, y) in enumerate(polygon):
            ex, ey = polygon[n - 1][0] - x, polygon[n - 1][1] - y
            if ex == 0 and ey == 0:
                continue
            p = [px * ey - py * ex for px, py in one]
            q = [px * ey - py * ex for px, py in other]
            slack = 1e-9 * (abs(ex) + abs(ey))
            if max(p) <= min(q) + slack or max(q) <= min(p) + slack:
                return False
    return True
