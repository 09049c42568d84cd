"""The peers look: a part that heats itself up against the same part of other blades, load and air taken out.

The figure compared is the logarithm of the part's temperature rise above its blade's inlet over the median rise of the
blade's heated parts: power, air flow and inlet, which all of a blade share, cancel. Peers are the same place in the
same design under like load, in this sled and across the fleet. :class:`Peers` keeps at most :data:`MEMBERS` of a role
whatever the fleet's size, and works their median out anew once every :data:`STALE_AFTER` tellings: a round costs the
same in a fleet of any size. Per compared sensor some 60 bytes.

Peers are what there is before anything is learnt of a part, and for what was wrong from the first. Where a part comes
to stand out that is as warm as its own law says, the law knows better.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from statistics import median
from typing import NamedTuple

from collector.assess.looking import Seen
from collector.assess.looks.kin import Kin, air_in, air_out
from collector.assess.looks.latch import Signs
from collector.assess.looks.memory import Learnt
from collector.assess.statistics.robust import FLAG, spread
from collector.model import Inventory, Kind, Observation, Outcome, Quantity, Seconds, Sign, SignKey, Visible

MEMBERS = 48
ROLES = 4096
"""Roles that are kept at most: designs are few."""
STALE_AFTER = 16
FRESH = 3600.0
"""Seconds after which a member's figure is no longer its."""
FEWEST = 3
"""Peers that it takes to say anything."""
MANY = 8
"""Peers with which to be sure."""
PRACTICAL = 6.0
"""Kelvin that a part must be hotter than its peers' figure makes it (common practice, no source)."""
SURELY = 10.0
"""Kelvin from which that is nobody's scatter (common practice, no source)."""
LEAST_RISE = 6.0
"""Kelvin of the blade's median rise below which ratios say nothing."""
ALIKE = 0.4
"""Logarithm of the blades' power, or of the other parts' median rise, within which their loads are alike: what of a
part's heat is always the same stands out where there is little other."""
MOST_WATTS = 200_000.0
"""No blade takes more: a reading above is none."""
FLOOR, FLOOR_FEW = 0.06, 0.10
"""Least standard deviation of the logarithm to believe, of many peers and of few."""
SHARE = 0.3
"""Weight of a round in the smoothed figure."""
STAYS = 2.0
"""Modified z-score above which a part that is shown stays so."""
ABSURD = 1000.0
"""Cel: what is told beyond is no temperature."""
ROUNDS_ON = 5
WARMING = 1200.0
"""Seconds after a blade was switched on until its rises have settled."""
CHANGING = 0.2
"""Logarithm by which a blade's power is off what it was of late, from which its rises have yet to follow..."""
FOLLOWS = 300.0
"""...with this time constant, s."""
ROUNDS_LEARNT = 5
DOUBTED = 0.25
"""Weight of what only peers say of a part whose own law explains it."""

_HEATED = frozenset({Kind.PROCESSOR, Kind.MEMORY, Kind.DRIVE, Kind.BLADE})
PeerRole = tuple[str, ...]


class Figures(NamedTuple):
    """What the peers of a role are like."""

    middle: float
    scale: float
    members: int
    names: tuple[str, ...]


class _Members:
    __slots__ = ("figures", "told", "values")

    def __init__(self) -> None:
        self.values: dict[str, tuple[float, Seconds]] = {}
        self.told = STALE_AFTER
        self.figures = Figures(math.nan, math.nan, 0, ())


class Peers:
    """The fleet's figures by role: shared by all controllers' looks, bounded, cheap to tell and to ask."""

    def __init__(self) -> None:
        self._roles: dict[PeerRole, _Members] = {}

    def tell(self, role: PeerRole, member: str, value: float, now: Seconds) -> None:
        """Take a member's newest figure; one member more than fit takes the place of the stalest, if that is stale."""
        members = self._roles.get(role)
        if members is None:
            if len(self._roles) >= ROLES:
                return
            members = self._roles[role] = _Members()
        values = members.values
        if member not in values and len(values) >= MEMBERS:
            if members.told < STALE_AFTER:
                return
            stalest = min(values, key=lambda each: values[each][1])
            if abs(now - values[stalest][1]) <= FRESH:
                return
            del values[stalest]
        values[member] = (value, now)
        members.told += 1

    def ask(self, role: PeerRole, now: Seconds) -> Figures:
        """Median, scale, number and some names of a role's members."""
        members = self._roles.get(role)
        if members is None:
            return Figures(math.nan, math.nan, 0, ())
        if members.told >= STALE_AFTER or members.told >= len(members.values):
            fresh = {name: value for name, (value, time) in members.values.items() if abs(now - time) <= FRESH}
            middle, scale = spread(list(fresh.values())) if fresh else (math.nan, math.nan)
            members.figures = Figures(middle, scale, len(fresh), tuple(list(fresh)[:4]))
            members.told = 0
        return members.figures

    @property
    def size(self) -> int:
        """Figures held."""
        return sum(len(members.values) for members in self._roles.values())


class PeersLook:
    """One controller's heated parts against their peers."""

    def __init__(
        self, controller: str, peers: Peers | None = None, explained: Callable[[int], bool | None] = lambda _: None
    ) -> None:
        """``explained``: whether a column is as warm as what was learnt of it says; None where nothing says."""
        self._controller = controller
        self._peers = Peers() if peers is None else peers
        self._explained = explained
        self._signs = Signs(controller)
        self._kin: Kin | None = None
        self._blades: list[tuple[str, list[int], list[int]]] = []
        """(blade, inlet columns, heated columns)."""
        self._roles: dict[int, PeerRole] = {}
        self._smooth: dict[tuple[str, str], tuple[float, int, str]] = {}
        """Figure, rounds, and of which load."""
        self._known: frozenset[str] = frozenset()
        self._hot: dict[tuple[str, str], int] = {}
        self._doubted: set[tuple[str, str]] = set()
        """Those that came to stand out while they were as warm as learnt."""
        self._ready: dict[str, Seconds] = {}
        self._late: dict[str, tuple[float, Seconds]] = {}
        """By blade, the logarithm of its power of late, and when that was."""

    kept = "peers"

    def learnt(self) -> Learnt:
        """What stands out and is no news: laws learnt since know it no other way."""
        old = [f"{part}|{sensor}" for part, _, sensor in self.present if (part, sensor or "") not in self._doubted]
        return Learnt(words={"odd": tuple(sorted(old))})

    def recall(self, learnt: Learnt, then: Seconds, now: Seconds) -> None:
        """Take it up."""
        self._known = frozenset(learnt.words.get("odd", ()))

    @property
    def visible(self) -> Visible:
        """Parts that are compared."""
        kin = self._kin
        if kin is None:
            return {}
        return {kin.sensors[column].part: frozenset({Sign.HOT}) for column in self._roles}

    @property
    def present(self) -> Mapping[SignKey, Observation]:
        """What it sees now."""
        return self._signs.present

    def inventory(self, inventory: Inventory, now: Seconds) -> None:
        """Take a finished walk."""
        kin = Kin(inventory)
        self._signs.drop(frozenset(kin.parts))
        self._kin = kin
        blades: dict[str, tuple[list[int], list[int]]] = {}
        for column, sensor in enumerate(kin.sensors):
            owner = kin.parts.get(kin.owner[column])
            if owner is None or owner.kind is not Kind.BLADE or sensor.quantity is not Quantity.TEMPERATURE:
                continue
            inlets, heated = blades.setdefault(owner.id, ([], []))
            if air_in(sensor):
                inlets.append(column)
            elif sensor.kind in _HEATED and not air_out(sensor):
                heated.append(column)
        common = kin.inlets.tolist()
        self._blades = [
            (blade, inlets or common, heated) for blade, (inlets, heated) in blades.items() if len(heated) >= 3
        ]
        self._roles = {c: (*kin.role[c], str(kin.place[c])) for _, _, heated in self._blades for c in heated}
        known = {(kin.sensors[column].part, kin.sensors[column].sensor) for column in self._roles}
        self._smooth = {key: told for key, told in self._smooth.items() if key in known}
        self._hot = {key: count for key, count in self._hot.items() if key in known}
        self._doubted &= known
        self._ready = {blade: time for blade, time in self._ready.items() if blade in blades}
        self._late = {blade: late for blade, late in self._late.items() if blade in blades}

    def round(self, seen: Seen) -> bool:
        """Take a finished round."""
        kin = self._kin
        if kin is None or seen.frame is None or seen.outcome not in (Outcome.OK, Outcome.PARTIAL):
            return False
        if len(seen.frame.values) != kin.size:
            return False
        self._signs.begin()
        for blade, inlets, heated in self._blades:
            if blade in seen.idle:
                self._ready[blade] = seen.time + WARMING
                continue
            load = self._load(blade, seen.frame.values, seen.time)
            if load is None or (blade in self._ready and self._waits(blade, seen.time)):
                self._hold(heated)
                continue
            self._compare(blade, inlets, heated, load, seen)
        return self._signs.end()

    def _hold(self, heated: Sequence[int]) -> None:
        """Nothing can be said of them yet: they keep what they showed."""
        assert self._kin is not None
        if self._signs.present:
            for column in heated:
                sensor = self._kin.sensors[column]
                self._signs.keep(sensor.part, Sign.HOT, sensor.sensor)

    def _waits(self, blade: str, now: Seconds) -> bool:
        ready = self._ready[blade]
        if now < ready <= now + WARMING:
            return True
        del self._ready[blade]  # a clock set back must not hold it for ever
        return False

    def _compare(self, blade: str, inlets: list[int], heated: list[int], load: str, seen: Seen) -> None:
        assert seen.frame is not None
        values = seen.frame.values
        air = [values[column] for column in inlets if abs(values[column]) < ABSURD]
        if not air:
            return
        inlet = median(air)
        rises = {column: rise for column in heated if 0.0 < (rise := values[column] - inlet) < ABSURD}
        if len(rises) < 3:
            return
        for column, rise in rises.items():
            others = sorted(other for each, other in rises.items() if each != column)
            usual = (
                others[len(others) // 2]
                if len(others) % 2
                else 0.5 * (others[len(others) // 2 - 1] + others[len(others) // 2])
            )
            if usual >= LEAST_RISE:
                # by the others' warmth: its own, were it ill, would take it away from its likes
                like = load or f"{round(math.log(usual) / ALIKE)} of heat"
                self._judge(blade, column, (*self._roles[column], like), rise, math.log(rise / usual), seen.time)

    def _load(self, blade: str, values: Sequence[float], now: Seconds) -> str | None:
        """A word for the blade's load, the same for those alike; None while its rises have yet to follow it; empty
        where its power is not told."""
        assert self._kin is not None
        column = self._kin.power_of.get(blade)
        power = math.nan if column is None else values[column]
        if not 0.0 < power < MOST_WATTS:
            return ""
        logarithm = math.log(power)
        late, then = self._late.get(blade, (logarithm, now))
        share = 1.0 - math.exp(-min(max(0.0, now - then), 1e5) / FOLLOWS)
        late += share * (logarithm - late)
        self._late[blade] = (late, now)
        if abs(logarithm - late) > CHANGING:
            return None
        return f"{round(logarithm / ALIKE)} of power"

    def _judge(self, blade: str, column: int, role: PeerRole, rise: float, figure: float, now: Seconds) -> None:
        kin = self._kin
        assert kin is not None
        sensor = kin.sensors[column]
        key = (sensor.part, sensor.sensor)
        smooth, count, like = self._smooth.get(key, (figure, 0, role[-1]))
        if like != role[-1]:
            smooth = figure  # what it was under another load is no part of what it is under this one
        smooth += SHARE * (figure - smooth)
        self._smooth[key] = (smooth, min(count + 1, ROUNDS_LEARNT), role[-1])
        if count < ROUNDS_LEARNT:
            return
        member = f"{self._controller}:{blade}"
        self._peers.tell(role, member, smooth, now)
        peers = self._peers.ask(role, now)
        if peers.members < FEWEST + 1:
            return
        many = peers.members > MANY
        score = (smooth - peers.middle) / max(peers.scale, FLOOR if many else FLOOR_FEW)
        beyond = rise * (1.0 - math.exp(peers.middle - smooth))
        shown = (sensor.part, Sign.HOT, sensor.sensor) in self.present
        hot = score > (STAYS if shown else FLAG) and beyond > (0.5 if shown else 1.0) * PRACTICAL
        before = self._hot.get(key, 0)
        self._hot[key] = rounds = min(before + 1, ROUNDS_ON) if hot else 0
        if not hot:
            self._hot.pop(key, None)
            self._doubted.discard(key)
            return
        explained = self._explained(column)
        if explained is False:
            self._doubted.discard(key)  # by now its own law says so too
        elif explained and before < ROUNDS_ON and f"{key[0]}|{key[1]}" not in self._known:
            self._doubted.add(key)
        if rounds < ROUNDS_ON:
            return
        names = ", ".join(_named(name, kin) for name in peers.names if name != member)
        text = (
            f"{sensor.sensor} is {rise:.1f} K above its air, {beyond:.0f} K more than"
            f" {peers.members - 1} peers under like load (M {score:.1f}; {names})"
        )
        # a drive is warmed by its neighbours more than by itself; and of very many parts one stands out by chance
        far = beyond >= (1.0 if shown else 1.2) * SURELY
        weight = 0.9 if many and far and sensor.kind is not Kind.DRIVE else 0.5
        weight = DOUBTED if key in self._doubted else weight
        self._signs.see(sensor.part, Sign.HOT, text, now, weight, sensor.sensor, 1)


def _named(member: str, kin: Kin) -> str:
    controller, _, blade = member.partition(":")
    return f"{controller} {kin.name(blade) if blade in kin.parts else blade.rpartition('/')[2]}"
