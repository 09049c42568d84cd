"""Signs of power and coolant: none, too little or too much voltage, overload, sums that don't add up, little flow."""

from __future__ import annotations

from array import array
from collections.abc import Mapping

from collector.assess.looking import Seen
from collector.assess.looks.latch import Signs
from collector.assess.looks.memory import Learnt
from collector.assess.looks.usual import Usual
from collector.assess.margins.feeding import MOST_WATTS, Adds, Feeding, Line, feed
from collector.model import Inventory, Observation, Seconds, Sensor, Sign, SignKey, State, Visible

DEAD = 0.2
"""Ratio of its usual voltage below which a line is dead."""
SAG, SAG_MAINS = 0.035, 0.06
"""Ratio from its usual by which a direct-current line, and one of the mains, is off (mains: EN 50160 allows 10 %)."""
MAINS = 90.0
"""V from which a line is taken for mains."""
APART, APART_WATTS = 0.06, 25.0
"""Ratio of the larger sum, and W, by which what should agree leaves its usual difference."""
UNSETTLED = 0.10
"""A change of the sum by this ratio since the round before: nothing is learnt from it."""
LATE = 0.3
"""Ratio of that change by which meters that answer late may disagree."""
IMPOSSIBLE = 0.05
"""Ratio by which more comes out than goes in: no loss, a meter that lies."""
FLOW = 0.9
"""Ratio of its usual flow below which coolant is little."""
HELD = 0.6
"""Ratio of a limit at which a sign that is shown still holds."""
BALANCE_ROUNDS = 3


class PowerLook:
    """A controller's power and coolant."""

    def __init__(self, controller: str) -> None:
        self._controller = controller
        self._signs = Signs(controller)
        self._feeding: Feeding | None = None
        self._sensors: tuple[Sensor, ...] = ()
        self._names: dict[str, str] = {}
        self._usual: dict[str, Usual] = {}
        self._totals: dict[str, float] = {}
        self._recalled: dict[str, tuple[float, ...]] = {}
        self._visible: dict[str, frozenset[Sign]] = {}

    @property
    def visible(self) -> Visible:
        """What it could see."""
        return self._visible

    @property
    def present(self) -> Mapping[SignKey, Observation]:
        """What it sees now."""
        return self._signs.present

    kept = "power"

    def learnt(self) -> Learnt:
        """The usual figures."""
        return Learnt(figures={name: usual.kept for name, usual in self._usual.items() if usual.known})

    def recall(self, learnt: Learnt, then: Seconds, now: Seconds) -> None:
        """Take them up, each when it is first asked for."""
        self._recalled = dict(learnt.figures)

    def inventory(self, inventory: Inventory, now: Seconds) -> None:
        """Take a finished walk."""
        self._names = {part.id: part.name for part in inventory.parts}
        self._signs.drop(frozenset(self._names))
        self._sensors = inventory.layout.sensors
        feeding = self._feeding = feed(inventory)
        visible: dict[str, set[Sign]] = {}
        for line in feeding.lines:
            visible.setdefault(line.part, set()).update((Sign.NO_POWER, Sign.LOW_VOLTAGE, Sign.HIGH_VOLTAGE))
        for supply in feeding.supplies:
            visible.setdefault(supply.part, set()).add(Sign.NO_POWER)
        for add in feeding.sums:
            visible.setdefault(add.part, set()).add(Sign.UNBALANCED)
        for flow in feeding.flows:
            visible.setdefault(self._sensors[flow].part, set()).add(Sign.LITTLE_FLOW)
        for load, _ in feeding.loads:
            visible.setdefault(self._sensors[load].part, set()).add(Sign.OVERLOADED)
        self._visible = {part: frozenset(signs) for part, signs in visible.items()}
        names = {line.name for line in feeding.lines} | {add.name for add in feeding.sums}
        names |= {f"{add.name}|W" for add in feeding.sums}
        names |= {self._flow_name(flow) for flow in feeding.flows}
        self._usual = {name: usual for name, usual in self._usual.items() if name in names}
        self._totals.clear()

    def _flow_name(self, column: int) -> str:
        return f"flow|{self._sensors[column].part}|{self._sensors[column].sensor}"

    def round(self, seen: Seen) -> bool:
        """Take a finished round."""
        feeding = self._feeding
        if seen.frame is None or feeding is None or len(seen.frame.values) != len(self._sensors):
            return False
        values, now = seen.frame.values, seen.time
        self._signs.begin()
        absent = {part for part, status in seen.statuses.items() if status.state is State.ABSENT}
        dead = {line.part for line in feeding.lines if self._line(line, values[line.column], now, absent)}
        self._supplies(feeding, values, now, absent, dead)
        for add in feeding.sums:
            self._sum(add, values, now, seen.idle, dead)
        for column, limit in feeding.loads:
            sensor = self._sensors[column]
            if limit < values[column] < MOST_WATTS:
                text = (
                    f"{self._names[sensor.part]}: {sensor.sensor} is {values[column]:.0f} {sensor.unit}, "
                    f"more than {limit:.0f}"
                )
                self._signs.see(sensor.part, Sign.OVERLOADED, text, now, 0.9)
        for column in feeding.flows:
            self._flow(column, values[column], now)
        return self._signs.end()

    def _learnt(self, name: str, pace: float = 0.01, reach: float = 0.06) -> Usual:
        found = self._usual.get(name)
        if found is None:
            found = self._usual[name] = Usual(pace, reach)
            found.recall(self._recalled.pop(name, ()))
        return found

    def _line(self, line: Line, value: float, now: Seconds, absent: set[str]) -> bool:
        """Judge a voltage; whether the line is dead."""
        part, name = line.part, self._names[line.part]
        if part in absent:
            return False
        if not value >= 0.0:
            for sign in (Sign.NO_POWER, Sign.LOW_VOLTAGE, Sign.HIGH_VOLTAGE):
                self._signs.keep(part, sign)
            return False
        usual = self._learnt(line.name)
        nominal = usual.value if usual.known else line.nominal
        if nominal is not None and value < DEAD * nominal:
            text = f"{name}: {value:.1f} V where {nominal:.1f} V is usual"
            self._signs.see(part, Sign.NO_POWER, text, now, 0.95 if usual.known else 0.8, rounds=1)
            return True
        low, high = line.low, line.high
        band = SAG_MAINS if nominal is not None and nominal > MAINS else SAG
        if (part, Sign.LOW_VOLTAGE, None) in self.present or (part, Sign.HIGH_VOLTAGE, None) in self.present:
            band *= HELD
        if (low is not None and value < low) or (usual.known and value < (1.0 - band) * usual.value):
            against = usual.value if usual.known else low
            text = f"{name}: {value:.2f} V where {against:.2f} V is usual"
            self._signs.see(part, Sign.LOW_VOLTAGE, text, now, 0.9)
        elif (high is not None and value > high) or (usual.known and value > (1.0 + band) * usual.value):
            against = usual.value if usual.known else high
            text = f"{name}: {value:.2f} V where {against:.2f} V is usual"
            self._signs.see(part, Sign.HIGH_VOLTAGE, text, now, 0.9)
        elif value > 0.0:
            usual.learn(now, value)
        return False

    def _supplies(self, feeding: Feeding, values: array[float], now: Seconds, absent: set[str], dead: set[str]) -> None:
        told = [
            (supply.part, self._first(values, supply.power_in), self._first(values, supply.power_out))
            for supply in feeding.supplies
            if supply.part not in absent
        ]
        busiest = max((max(taken, given) for _, taken, given in told), default=0.0)
        for part, taken, given in told:
            if part not in dead and busiest > 40.0 and 0.0 <= taken < 1.0 and 0.0 <= given < 1.0:
                text = (
                    f"{self._names[part]}: takes {taken:.0f} W and gives {given:.0f} W while others give {busiest:.0f}"
                )
                self._signs.see(part, Sign.NO_POWER, text, now, 0.7, rounds=1)

    @staticmethod
    def _first(values: array[float], column: int | None) -> float:
        return -1.0 if column is None or not values[column] >= 0.0 else values[column]

    def _sum(self, add: Adds, values: array[float], now: Seconds, idle: frozenset[str], dead: set[str]) -> None:
        """Hold two sums against each other."""
        key = (add.part, Sign.UNBALANCED, add.sensor)
        if add.part in idle or add.part in dead:
            return
        left, right = add.left(values), add.right(values)
        if left is None or right is None:
            self._signs.keep(*key)
            return
        larger = max(left, right)
        before = self._totals.get(add.name)
        self._totals[add.name] = larger
        usual = self._learnt(add.name, pace=0.01, reach=0.10)
        name = self._names[add.part]
        if add.one_way and right > left + IMPOSSIBLE * larger + APART_WATTS:
            text = f"{name}: {add.right_text} is {right:.0f} W, more than the {left:.0f} W of {add.left_text}"
            self._signs.see(add.part, Sign.UNBALANCED, text, now, 0.95, add.sensor, BALANCE_ROUNDS)
            return
        if before is None:
            self._signs.keep(*key)
            return
        change = abs(larger - before)
        missing = left - right
        share = missing / larger if larger > 0.0 else 0.0
        fixed = self._learnt(f"{add.name}|W", pace=0.01, reach=0.10)
        if not usual.known or not fixed.known:
            if larger > 2.0 * add.least:
                usual.learn(now, share, 1.0)
                fixed.learn(now, missing, larger)
            return
        # What is lost is partly a share of the load and partly the same at any load: the nearer of the two counts.
        off = min((share - usual.value) * larger, missing - fixed.value, key=abs)
        bound = max(add.least, APART * larger) * (HELD if key in self.present else 1.0) + LATE * change
        if abs(off) > bound:
            text = (
                f"{name}: {add.left_text} {left:.0f} W and {add.right_text} {right:.0f} W are {missing:+.0f} W apart, "
                f"usually {missing - off:+.0f} W: lost on the way, or one of the meters lies"
            )
            weight = min(0.9, 0.3 + abs(off) / larger * 3.0)
            self._signs.see(add.part, Sign.UNBALANCED, text, now, weight, add.sensor, BALANCE_ROUNDS)
        elif larger > 2.0 * add.least and change <= UNSETTLED * larger:
            usual.learn(now, share, 1.0)
            fixed.learn(now, missing, larger)

    def _flow(self, column: int, value: float, now: Seconds) -> None:
        sensor = self._sensors[column]
        if not value >= 0.0:
            self._signs.keep(sensor.part, Sign.LITTLE_FLOW)
            return
        usual = self._learnt(self._flow_name(column), pace=0.02, reach=0.10)
        limit = sensor.thresholds.lower_caution
        if (usual.known and value < FLOW * usual.value) or (limit is not None and value < limit.value):
            against = f"{usual.value:.2f} is usual" if usual.known else "more is wanted"
            text = f"{self._names[sensor.part]}: {value:.2f} {sensor.unit} of coolant where {against}"
            self._signs.see(sensor.part, Sign.LITTLE_FLOW, text, now, 0.9)
        else:
            usual.learn(now, value)
