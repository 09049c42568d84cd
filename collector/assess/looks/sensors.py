"""The sensor look: sensors that are gone, stuck, noisy, that drift or tell the impossible.

Every figure is judged against what the rest of the controller explains (:mod:`.explained`). Per sensor some 150 bytes
once learnt, no history. A single round never shows a sign.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from collector.assess.looking import Seen
from collector.assess.looks.drifts import Drifts, several
from collector.assess.looks.explained import MODELLED, SETTLED, Explained
from collector.assess.looks.gone import Gone
from collector.assess.looks.home import Home
from collector.assess.looks.impossible import Impossible
from collector.assess.looks.jitter import HELD, SHOWN, Jitter
from collector.assess.looks.kin import Bools, Floats, Kin, Near, Threes
from collector.assess.looks.latch import Signs
from collector.assess.looks.memory import Learnt, table
from collector.assess.looks.stuck import Stuck
from collector.assess.words import amount
from collector.model import Inventory, Kind, Observation, Outcome, Quantity, Seconds, Sign, SignKey, Visible

QUICK = 200
"""Rounds in which a new sensor's usual is learnt quickly."""
NOISY = 0.93
"""Weight of noise: so many swings are seldom chance, but who swings along may not be told of."""
SPREADS = 5.0
"""Times its own usual error that a sensor must be off by."""
NEW_HOME = 500
"""Rounds after which other parts being off counts as usual, at most; as many as the usual was seen, if fewer."""
WARMING = 900.0
"""Seconds after a part was switched in which its readings settle."""
JUDGED_EVERY = 50.0
"""Seconds between two judgements of figures: what changes them slowly needs no more, and most of the cost is here."""
UNLIKE_LOAD = 0.4
"""Difference of load from the siblings', as a part of the usual, beyond which these explain nothing."""
UNLIKE_DOUBT = 0.8
"""Part of what it explains that may be wrong."""
_PRACTICAL = {
    Quantity.TEMPERATURE: (6.0, 0.0),
    Quantity.HUMIDITY: (12.0, 0.0),
    Quantity.FREQUENCY: (0.6, 0.0),
    Quantity.VOLTAGE: (0.05, 0.03),
    Quantity.POWER: (10.0, 0.06),
    Quantity.CURRENT: (0.5, 0.06),
    Quantity.ROTATION: (200.0, 0.06),
    Quantity.SPEED_RATIO: (3.0, 0.06),
}
"""The least error worth a word: in the unit, and as part of the usual value (common practice, no source)."""
_ELSE = (0.0, 0.25)
_FOLLOWED = frozenset({Sign.READING_DRIFTS, Sign.READING_NOISY, Sign.READING_STUCK})
_READ = frozenset({Outcome.OK, Outcome.PARTIAL})


class SensorsLook:
    """One controller's sensors."""

    def __init__(self, controller: str) -> None:
        self._controller = controller
        self._signs = Signs(controller)
        self._kin: Kin | None = None
        self._model: Explained | None = None
        self._odd: Impossible | None = None
        self._jitter: Jitter | None = None
        self._standstill: Stuck | None = None
        self._threes: Threes | None = None
        self._near: Near | None = None
        self._now: Seconds = 0.0
        self._idle_set: frozenset[str] | None = None
        self._last: Seconds | None = None
        self._judged: Seconds | None = None
        self._blades: frozenset[str] = frozenset()
        self._home = Home(NEW_HOME)
        self._gone: Gone | None = None
        self._drifts: Drifts | None = None
        self._start(0)

    def _start(self, size: int) -> None:
        nan = np.full(size, np.nan)
        self._value, self._error, self._spread = nan.copy(), nan.copy(), nan.copy()
        self.stuck: Bools = np.zeros(size, dtype=np.bool_)
        self._told = np.zeros(size, dtype=np.int16)
        self._ready = np.zeros(size)
        self._idle: Bools = np.zeros(size, dtype=np.bool_)

    @property
    def visible(self) -> Visible:
        """What the sensors of each part can show."""
        kin, model = self._kin, self._model
        if kin is None or model is None:
            return {}
        found: dict[str, set[Sign]] = {}
        for column, sensor in enumerate(kin.sensors):
            signs = found.setdefault(sensor.part, set())
            if self._told[column]:
                signs |= {Sign.READING_GONE, Sign.READING_IMPOSSIBLE}
            if model.seen[column] >= SETTLED:
                signs |= {Sign.READING_DRIFTS, Sign.READING_NOISY, Sign.READING_STUCK}
        return {part: frozenset(signs) for part, signs in found.items() if signs}

    @property
    def present(self) -> Mapping[SignKey, Observation]:
        """What it sees now."""
        return self._signs.present

    def inventory(self, inventory: Inventory, now: Seconds) -> None:
        """Take a finished walk; what is known of a sensor goes with it to its new column."""
        before, model = self._kin, self._model
        kin = Kin(inventory, MODELLED)
        self._signs.drop(frozenset(kin.parts) | {sensor.part for sensor in kin.sensors})
        if before is not None and before.sensors == kin.sensors and before.parts == kin.parts:
            return
        self._kin, self._model = kin, Explained(kin)
        self._practical = np.asarray([_PRACTICAL.get(s.quantity, _ELSE) for s in kin.sensors]).reshape(-1, 2)
        self._odd = Impossible(kin, self._model)
        self._placed = self._model.alone | self._odd.inside
        self._placed[kin.exhausts] = True
        self._blades = frozenset(part.id for part in kin.parts.values() if part.kind is Kind.BLADE)
        names = {sensor.key: column for column, sensor in enumerate(kin.sensors)}
        old_state = {name: getattr(self, name) for name in _COLUMNS}
        judges = self._judges_of()
        self._start(kin.size)
        self._jitter, self._standstill, self._threes = Jitter(kin, self._practical), Stuck(kin), Threes(kin)
        self._gone, self._drifts = Gone(kin, self._model.modelled), Drifts(kin, self._model)
        self._near = Near(kin, self._model.siblings)
        self._idle_set = None
        if before is None or model is None:
            return
        moved = {old: names[s.key] for old, s in enumerate(before.sensors) if s.key in names}
        self._model.take_over(model, moved)
        old, new = list(moved.keys()), list(moved.values())
        for name, column in old_state.items():
            getattr(self, name)[new] = column[old]
        for one, was in zip(self._judges_of(), judges, strict=True):
            for name in one.KEPT:
                getattr(one, name)[new] = getattr(was, name)[old]

    def _judges_of(self) -> tuple[Jitter | Stuck | Gone | Drifts, ...]:
        """All that hold something of each column."""
        return tuple(one for one in (self._jitter, self._standstill, self._gone, self._drifts) if one is not None)

    kept = "sensors"

    def _keys(self) -> list[str]:
        return [] if self._kin is None else [f"{sensor.part}|{sensor.sensor}" for sensor in self._kin.sensors]

    def learnt(self) -> Learnt:
        """What is usual of each sensor, and what explains it."""
        model, jitter, standstill, gone = self._model, self._jitter, self._standstill, self._gone
        if model is None or jitter is None or standstill is None or gone is None:
            return Learnt()
        columns: dict[str, NDArray[Any]] = {name: getattr(self, name) for name in _KEPT}
        columns["_seldom"] = gone.seldom
        columns |= {f"jitter {name}": getattr(jitter, name) for name in _KEPT_OF_JITTER}
        columns |= {f"still {name}": getattr(standstill, name) for name in _KEPT_OF_STUCK}
        columns |= model.learnt()
        home, blades = self._home.learnt()
        return Learnt(
            tables={"columns": table(self._keys(), self._told > 0, **columns)},
            figures={f"load|{owner}": usual for owner, usual in model.usual_loads().items()} | home,
            words=blades,
        )

    def recall(self, learnt: Learnt, then: Seconds, now: Seconds) -> None:
        """Take it up by the sensors' names."""
        model, jitter, standstill, gone = self._model, self._jitter, self._standstill, self._gone
        told = learnt.table("columns")
        if model is None or jitter is None or standstill is None or gone is None or not told.keys:
            return
        rows, columns = told.meet(self._keys())
        shapes = {"weights": (3,), "least": (2,), "most": (2,)}
        models = {name: told.column(name, *shapes.get(name, ()))[rows] for name in model.learnt()}
        own: list[tuple[object, str, Floats]] = [(self, name, told.column(name)[rows]) for name in _KEPT]
        own.append((gone, "seldom", told.column("_seldom")[rows]))
        own += [(jitter, name, told.column(f"jitter {name}")[rows]) for name in _KEPT_OF_JITTER]
        own += [(standstill, name, told.column(f"still {name}")[rows]) for name in _KEPT_OF_STUCK]
        loads = {name[5:]: each for name, each in learnt.figures.items() if name.startswith("load|")}
        same = model.recall(columns, models, loads)
        for holder, name, column in own:
            getattr(holder, name)[columns[same]] = column[same]
        self._home.recall(learnt)

    def round(self, seen: Seen) -> bool:
        """Take a finished round."""
        kin, model, frame = self._kin, self._model, seen.frame
        if kin is None or model is None or frame is None or seen.outcome not in _READ:
            return False
        if len(frame.values) != kin.layout_size or not kin.size:
            return False
        values = np.frombuffer(frame.values)[kin.columns]
        now = self._now = seen.time
        if self._last is not None and not 0.0 < now - self._last < 3600.0:
            self._ready[:] = np.maximum(self._ready, 0.0)
            if now < self._last:
                self._ready[:] = 0.0  # a clock set back must not hold them for ever
            self._error[:] = np.nan
            if self._jitter is not None:
                self._jitter.forget()
        self._last = now
        assert self._odd is not None
        raw, came = values, values == values
        absurd = came & ~(np.abs(values) < self._odd.most)
        if absurd.any():  # told, and nothing to compare anything with
            values = np.where(absurd, np.nan, values)
        self._note_idle(seen.idle, now)
        told = values == values
        self._signs.begin()
        judges = self._judges(now) and not self._repeats(told, values)
        working = np.where(self._idle, np.nan, values)
        if judges:
            explained, regressors = model.explain(working, now)
        else:
            self._signs.keep_all(_FOLLOWED)
        assert self._gone is not None
        self._gone.round(came, self._told, self._idle, self._value, now, self._signs)
        self._look_for_impossible(values, raw, absurd, now)
        if judges:
            self._follow(values, working, explained, regressors, told & (values == self._value), told, now)
            self._value = np.where(told, values, self._value)
            self._told += told & (self._told < 1000)
            self._pack()
        return self._signs.end()

    def _judges(self, now: Seconds) -> bool:
        """Whether enough time has passed since figures were judged last."""
        if self._judged is not None and 0.0 <= now - self._judged < JUDGED_EVERY:
            return False
        self._judged = now
        return True

    def _repeats(self, told: Bools, values: Floats) -> bool:
        """Whether a controller tells the same acquisition again: nothing new was measured."""
        standstill = self._standstill
        if standstill is None:
            return False
        lively = told & (standstill.lively > 0.3)
        count = int(lively.sum())
        return count >= 5 and int((lively & (values == self._value)).sum()) >= 0.9 * count

    def _pack(self) -> None:
        """Keep figures of error in half the bytes between rounds."""
        self._error, self._spread = self._error.astype(np.float32), self._spread.astype(np.float32)
        if self._drifts is not None:
            self._drifts.mean = self._drifts.mean.astype(np.float32)

    def _note_idle(self, idle: frozenset[str], now: Seconds) -> None:
        assert self._kin is not None
        if idle == self._idle_set:
            return
        self._idle_set = idle
        kin = self._kin
        is_idle = np.asarray([s.part in idle or o in idle for s, o in zip(kin.sensors, kin.owner, strict=True)], bool)
        changed = is_idle != self._idle
        owners = {kin.owner[column] for column in np.nonzero(changed)[0].tolist()}
        if owners:
            near = np.asarray([owner in owners for owner in kin.owner], dtype=np.bool_)
            # what is no blade's feels every blade that is switched
            shared = np.asarray(
                [owner not in idle and owner not in self._blades for owner in kin.owner], dtype=np.bool_
            )
            self._ready[near | changed | shared] = now + WARMING
        self._idle = is_idle

    def _away(self) -> Bools:
        """Columns not to be judged now: who is switched on is not as it was when they were learnt."""
        assert self._model is not None
        off = self._idle_set or frozenset()
        if not self._home.away(off):
            return np.zeros(len(self._value), dtype=np.bool_)
        if self._home.left:
            self._home.settle(off)
            self._model.seen[self._placed] = 0
        return self._placed

    def _look_for_impossible(self, values: Floats, raw: Floats, absurd: Bools, now: Seconds) -> None:
        kin, odd = self._kin, self._odd
        assert kin is not None
        assert odd is not None
        for column, (why, weight) in odd.find(values, absurd, self._idle, self._shows_impossible).items():
            sensor = kin.sensors[column]
            text = f"{sensor.sensor} tells {amount(float(raw[column]), sensor.unit)}: {why}"
            self._signs.see(sensor.part, Sign.READING_IMPOSSIBLE, text, now, weight, sensor.sensor)

    def _shows_impossible(self, column: int) -> bool:
        assert self._kin is not None
        sensor = self._kin.sensors[column]
        return (sensor.part, Sign.READING_IMPOSSIBLE, sensor.sensor) in self.present

    def _follow(
        self,
        values: Floats,
        working: Floats,
        explained: Floats,
        regressors: Floats,
        same: Bools,
        told: Bools,
        now: Seconds,
    ) -> None:
        """Learn what is usual, and look for what sticks, jumps and drifts."""
        model = self._model
        assert model is not None
        jitter, standstill, threes, drifts = self._jitter, self._standstill, self._threes, self._drifts
        assert jitter is not None
        assert standstill is not None
        assert threes is not None
        assert drifts is not None
        assert self._near is not None
        moved = np.where(told, values - self._value, np.nan)
        standstill.step(moved, same)
        # what those near it share is their owner's doing, which the model may follow late
        shared = self._near.shared(working - explained)
        explained = explained + shared
        error = working - explained
        known = error == error
        settling = (now < self._ready) | self._away()
        quantum = np.where(standstill.quantum == standstill.quantum, standstill.quantum, 0.0)
        level = np.abs(model.level)
        least = np.maximum(self._practical[:, 0], self._practical[:, 1] * np.where(level == level, level, 0.0))
        least = np.maximum(least, 2.0 * quantum)
        first = known & (self._spread != self._spread) & (model.seen >= 5)
        self._spread[first] = np.maximum(np.abs(error), quantum)[first]
        spread = np.where(self._spread == self._spread, np.maximum(self._spread, 0.3 * quantum), np.inf)
        usable = known & ~settling & (model.seen >= SETTLED) & model.within(regressors)
        # what carries quite another load than its siblings is not explained by them
        alike = ~(model.siblings & (np.abs(regressors[:, 1]) > UNLIKE_LOAD))
        # of what another load than the siblings' explains, most may be wrong
        by_load = np.where(model.siblings, np.abs(model.weights[:, 1] * regressors[:, 1]), 0.0)
        limit = np.maximum(least, SPREADS * spread) + UNLIKE_DOUBT * by_load
        drifts.follow(error, known & ~settling)
        runs = known & ~settling & (values != 0.0)
        ripe = runs & (model.seen >= SETTLED)
        self._say_noisy(jitter.round(moved, error, runs, ripe, level, quantum, model.seen < QUICK))
        # one of three that is ill makes the other two look ill: each is compared with it and one more
        doubtful = threes.of_three(jitter.suspect | self.stuck)
        self.stuck = standstill.judge(explained, same, usable, doubtful, least, self._spread, model) & (values != 0.0)
        self._say_stuck(values)
        unclear = doubtful | threes.less_odd(drifts.mean)
        off, mute = drifts.judge(limit, usable, alike, unclear, working == working)
        drifts.say(values, explained, limit, mute, self.stuck, now, self._signs)
        clip = 2.0 * spread
        calm = known & ~settling & ~off & ~jitter.suspect & ~standstill.suspect
        # what is off on one side for long must not become usual while it grows
        aside = (np.abs(drifts.mean) > 2.0 * spread) & (model.seen >= SETTLED)
        model.learn(
            (np.minimum(np.maximum(error, -clip), clip) + shared) * np.where(aside, 0.15, 1.0),
            regressors,
            calm,
            np.abs(drifts.mean) <= 2.5 * spread,
        )
        learnt = calm & np.isfinite(spread) & ~aside
        rate = np.select([model.seen < SETTLED, model.seen < 300], [0.03, 0.008], 0.001)[learnt]
        spread = spread[learnt]
        self._spread[learnt] = spread + rate * (np.minimum(np.abs(error[learnt]), 2.5 * spread) - spread)
        self._error = np.where(known, error, np.nan)

    def _say_noisy(self, limit: Floats) -> None:
        jitter, kin = self._jitter, self._kin
        assert jitter is not None
        assert kin is not None
        shows = [
            column
            for column in np.nonzero(jitter.hits >= HELD)[0].tolist()
            if jitter.hits[column] >= SHOWN
            or (kin.sensors[column].part, Sign.READING_NOISY, kin.sensors[column].sensor) in self.present
        ]
        many = several(kin, np.nonzero(jitter.hits >= 1.0)[0].tolist())
        for column in shows:
            sensor = kin.sensors[column]
            if many and (sensor.part, Sign.READING_NOISY, sensor.sensor) not in self.present:
                continue
            by = amount(float(limit[column]), sensor.unit)
            text = f"{sensor.sensor} jumps to and fro by more than {by} where nothing else does"
            self._signs.see(sensor.part, Sign.READING_NOISY, text, self._now, NOISY, sensor.sensor, 1)

    def _say_stuck(self, values: Floats) -> None:
        kin, standstill = self._kin, self._standstill
        assert kin is not None
        assert standstill is not None
        for column in np.nonzero(self.stuck)[0].tolist():
            sensor = kin.sensors[column]
            text = (
                f"{sensor.sensor} has told {amount(float(values[column]), sensor.unit)}"
                f" for {standstill.run[column]} rounds"
                + (
                    ", and mains are never at rest"
                    if standstill.at_rest[column]
                    else f" while the rest explains a change of {standstill.span[column]:.3g}"
                )
            )
            self._signs.see(sensor.part, Sign.READING_STUCK, text, self._now, 0.9, sensor.sensor, 1)


_COLUMNS = ("_value", "_error", "_spread", "_told", "_ready")
_KEPT, _KEPT_OF_JITTER, _KEPT_OF_STUCK = ("_spread", "_told"), ("usual", "_rounds"), ("quantum", "lively")
"""What outlasts a restart; all else comes back within some rounds."""
