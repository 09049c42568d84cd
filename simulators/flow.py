"""How the fans' air divides among the blades of a sled: a small network of resistances, solved at full speed.

Every element drops a pressure proportional to the square of its flow and every fan's curve is homogeneous of second
degree in speed and flow, so the fan laws hold exactly: with all speeds times n, all flows are times n and all
pressures times n squared. The network is therefore solved once for the *ratios* of the fan speeds, and again only
when a fan fails or an intake is covered; see :class:`simulators.sleds.Sleds` for how it is used.

The plenum between blades and fans is a row of cells, one before each fan. A blade feeds the cells behind it; air
passes sideways between neighbouring cells against a resistance, so that a fan that stands starves the blades before it
most. Pressures are stated at reference density: volume flows don't depend on density, mass flows and powers do.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simulators.bodies import LOCKED, STILL_AIR, Body
from simulators.chance import Floats

_ROUND_OFF = 0.002
"""Fraction of the shut-off pressure below which the square-root law is rounded off, to keep its slope finite."""


@dataclass(frozen=True, slots=True)
class Division:
    """Volume flows at full speed, m3/s, for some sleds (S), blades (B), cells and fans (C)."""

    blades: Floats
    """(S, B) through each blade."""
    feed: Floats
    """(S, C, B) parts of each cell's intake that come from each blade; sums to 1 over the blades."""
    cells: Floats
    """(S, C) from blades into each cell."""
    out: Floats
    """(S, C) out through each fan; 0 where the air comes back."""
    back: Floats
    """(S, C) back in through each fan that stands; 0 elsewhere."""
    mixing: Floats
    """(S, C, C) inverse of the cells' advection: temperatures from (flow times temperature) sums, s/m3."""


def _root(pressure: Floats, resistance: Floats | float, round_off: float) -> tuple[Floats, Floats]:
    """Signed flow through a resistance at a pressure, and its slope."""
    size = pressure * pressure + round_off * round_off
    fourth = size**0.25
    flow = pressure / fourth / np.sqrt(resistance)
    slope = (1.0 - 0.5 * pressure * pressure / size) / fourth / np.sqrt(resistance)
    return flow, slope


class Network:
    """The air path of one design."""

    def __init__(self, body: Body) -> None:
        self._body = body
        design = body.design
        middles = np.asarray(design.fan_x)
        edges = np.concatenate(([0.0], (middles[1:] + middles[:-1]) / 2.0, [design.width]))
        behind = np.zeros((len(design.slots), design.fans))
        for b, slot in enumerate(design.slots):
            overlap = np.minimum(edges[1:], slot.x + slot.width) - np.maximum(edges[:-1], slot.x)
            behind[b] = np.maximum(overlap, 0.0) / slot.width
        self.behind = behind
        """(B, C) which part of each blade's width each cell stands behind."""

    def divide(self, speeds: Floats, open_fraction: Floats) -> Division:
        """Solve for fan speeds as fractions of rated (S, C) and blades whose intake is so far open, 0-1 (S, B)."""
        body = self._body
        speeds = np.maximum(speeds, STILL_AIR)
        resistance = body.blade_resistance / np.square(open_fraction)
        ducts = self.behind[None] / np.sqrt(resistance)[:, :, None]  # (S, B, C): flow at 1 Pa
        conductance = ducts.sum(axis=1)
        # A rotor well below its neighbours' speed is in the way of the air that comes back.
        standing = np.clip(1.0 - speeds / np.maximum(speeds.max(axis=1, keepdims=True), STILL_AIR), 0.0, 1.0)
        fans = body.fan_resistance * (1.0 + (LOCKED - 1.0) * standing)
        suction = self._suction(np.square(speeds) * body.fan_shutoff, conductance, fans)
        pull, _ = _root(suction, 1.0, _ROUND_OFF * body.fan_shutoff)
        lateral, _ = _root(suction[:, 1:] - suction[:, :-1], body.lateral_resistance, _ROUND_OFF * body.fan_shutoff)
        through = ducts * pull[:, None, :]
        cells = through.sum(axis=1)
        # Continuity, not the fan curve, gives the fans' flow: the air balance closes to the last digit.
        net = cells.copy()
        net[:, 1:] += lateral
        net[:, :-1] -= lateral
        return Division(
            blades=through.sum(axis=2),
            feed=np.swapaxes(through / cells[:, None, :], 1, 2),
            cells=cells,
            out=np.maximum(net, 0.0),
            back=np.maximum(-net, 0.0),
            mixing=_advection(cells, lateral, np.maximum(-net, 0.0)),
        )

    def _suction(self, shutoff: Floats, conductance: Floats, fans: Floats) -> Floats:
        """Suction in each cell (S, C), Pa, by Newton's method with a bounded step."""
        body = self._body
        small = _ROUND_OFF * body.fan_shutoff
        top = shutoff.max(axis=1, keepdims=True)
        suction: Floats = np.broadcast_to(0.7 * top, shutoff.shape).copy()
        count = shutoff.shape[1]
        diagonal = np.arange(count)
        for _ in range(80):
            duct, duct_slope = _root(suction, 1.0, small)
            fan, fan_slope = _root(shutoff - suction, fans, small)
            side, side_slope = _root(suction[:, 1:] - suction[:, :-1], body.lateral_resistance, small)
            rest = conductance * duct - fan
            rest[:, 1:] += side
            rest[:, :-1] -= side
            slope = np.zeros((*suction.shape, count))
            slope[:, diagonal, diagonal] = conductance * duct_slope + fan_slope
            slope[:, diagonal[1:], diagonal[1:]] += side_slope
            slope[:, diagonal[:-1], diagonal[:-1]] += side_slope
            slope[:, diagonal[1:], diagonal[:-1]] -= side_slope
            slope[:, diagonal[:-1], diagonal[1:]] -= side_slope
            step = np.linalg.solve(slope, rest[:, :, None])[:, :, 0]
            step = np.clip(step, -0.3 * top, 0.3 * top)
            suction -= step
            if float(np.max(np.abs(step) / top)) < 1e-12:
                return suction
        raise ArithmeticError("the air network did not settle; a resistance or speed is out of its range")


def _advection(cells: Floats, lateral: Floats, back: Floats) -> Floats:
    count = cells.shape[1]
    matrix = np.zeros((*cells.shape, count))
    index: NDArray[np.intp] = np.arange(count)
    matrix[:, index, index] = cells + back
    right, left = np.maximum(lateral, 0.0), np.maximum(-lateral, 0.0)
    matrix[:, index[1:], index[1:]] += right
    matrix[:, index[1:], index[:-1]] -= right
    matrix[:, index[:-1], index[:-1]] += left
    matrix[:, index[:-1], index[1:]] -= left
    inverse: Floats = np.linalg.inv(matrix)
    return inverse
