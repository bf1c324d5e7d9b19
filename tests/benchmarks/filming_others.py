"""Tuning by habit: the ways of working that a filming day of ours is measured against.

Their hands are as good as ours: the same player, the same ear, and strokes counted by the same dose
with gains learned in the same way. Only whom they touch, when, in which order and where they aim is
their own. Thresholds are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.belief import Beliefs
from rounds.events import AirMoved, Connected, Disconnected, Strike
from rounds.gauss import Z95, Gauss
from rounds.instruction import Act, Instruction
from rounds.notes import cents
from rounds.planning import dose

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.simulation.player import Player, PlayerAction
    from rounds.simulation.world import World

EAR_IN_PLAY_CENTS = 3.0
"""How well a player hears while playing how far off a bottle is, sd."""
DONE_SHARE = 0.5
"""A bottle being tuned is left when it reads within this share of its tolerance."""
MOST_TRIES = 6
UNHEARD_TRIES = 4


@dataclass(frozen=True)
class Habit:
    """When to tune and what to touch. `every_min` None: when the ear notices something in play."""

    name: str
    every_min: float | None
    touch_above_cents: float
    bass_last: bool = False


HABITS = (
    Habit("10-minute timer, rail order, all over 3 cents", 10.0, 3.0),
    Habit("ear over 15 cents", None, 15.0),
    Habit("ear over 10 cents, bass last", None, 10.0, bass_last=True),
    Habit("no statistics, every 5 min, over half the tolerance", 5.0, 5.0),
    Habit("no statistics, every 10 min, over half the tolerance", 10.0, 5.0),
)


class HabitPlayer:
    """A player who follows a habit."""

    def __init__(self, habit: Habit, world: World, player: Player, needed: Sequence[str]) -> None:
        self.habit = habit
        self.world = world
        self.player = player
        self.needed = self._ordered(needed)
        self.beliefs = Beliefs(world.rig)
        self.shift_cents = 0.0
        self._last_s = world.now_s
        self._noticed: list[str] = []

    def _ordered(self, needed: Sequence[str]) -> list[str]:
        rig = self.world.rig
        if self.habit.bass_last:
            return sorted(needed, key=lambda i: -rig.bottle(i).note.midi)
        return sorted(needed, key=lambda i: (rig.bottle(i).rail, rig.bottle(i).position_cm))

    def wants_round(self) -> bool:
        """Asked at every cut."""
        if self.habit.every_min is not None:
            return self.world.now_s - self._last_s >= 60.0 * self.habit.every_min
        self._noticed = [i for i in self.needed if self._notices(i)]
        return bool(self._noticed)

    def _notices(self, bottle_id: str) -> bool:
        heard = self.world.cents(bottle_id) + self.world.rng.normal(0.0, EAR_IN_PLAY_CENTS)
        return bool(abs(heard) > self.habit.touch_above_cents)

    def round(self) -> None:
        """Tune."""
        for bottle_id in self._noticed if self.habit.every_min is None else self.needed:
            level = self._do("strike", bottle_id)
            if level is not None and abs(level.mean) > self.habit.touch_above_cents:
                self._tune(bottle_id, level)
        self._last_s = self.world.now_s
        self._noticed = []

    def _tune(self, bottle_id: str, level: Gauss | None) -> None:
        done_cents = DONE_SHARE * self.world.rig.bottle(bottle_id).tolerance_cents
        for _ in range(MOST_TRIES):
            if level is None:
                break
            on = self.world.pump_on == bottle_id
            expected = level.mean + (self.beliefs.head_loss(bottle_id).mean if on else 0.0)
            if abs(expected) > done_cents:
                level = self._move(bottle_id, level, on=on)
            elif on:
                level = self._do("disconnect", bottle_id)
            else:
                return
        if self.world.pump_on == bottle_id:
            self._do("disconnect", bottle_id)

    def _move(self, bottle_id: str, level: Gauss, *, on: bool) -> Gauss | None:
        rig = self.world.rig
        told = dose(
            rig, self.beliefs, bottle_id, level_cents=level, aim_cents=0.0, pump_on=on, at_s=self.world.now_s
        )
        if told.strokes > 0.0:
            return self._do("add", bottle_id, told.strokes, rig.bottle(bottle_id).pump)
        if on and not (told.strokes < 0.0 and rig.pump_of(bottle_id).release_valve):
            return self._do("disconnect", bottle_id)
        return self._do(
            "release", bottle_id, told.strokes or -0.25, rig.bottle(bottle_id).pump if on else None
        )

    def _do(
        self, act: Act, bottle_id: str, strokes: float | None = None, pump_id: str | None = None
    ) -> Gauss | None:
        """One act with the strike that ends it, believed as a session would."""
        was_on = self.world.pump_on
        action = self.player.act(Instruction(act, bottle_id, pump_id, strokes, None, "", ""))
        self._believe_act(act, bottle_id, strokes, pump_id, was_on)
        for _ in range(UNHEARD_TRIES):
            level = self._hear(action)
            if level is not None:
                return level
            action = self.player.act(Instruction("strike", bottle_id, None, None, None, "", ""))
        return None

    def _believe_act(
        self, act: Act, bottle_id: str, strokes: float | None, pump_id: str | None, was_on: str | None
    ) -> None:
        now_s = self.world.now_s
        mounted = self.world.mounted or self.world.rig.bottle(bottle_id).pump
        if act == "add" and was_on != bottle_id:
            self.beliefs.apply(Connected(at_s=now_s, bottle=bottle_id, pump=mounted))
        if was_on is not None and self.world.pump_on is None:
            self.beliefs.apply(Disconnected(at_s=now_s, bottle=was_on, pump=mounted))
        if strokes:
            self.beliefs.apply(AirMoved(at_s=now_s, bottle=bottle_id, pump=pump_id, strokes=strokes))

    def _hear(self, action: PlayerAction) -> Gauss | None:
        if action.struck is None or action.struck != action.meant:
            return None
        heard = self.world.heard(action.struck, weak=action.weak)
        if heard.hz is None or heard.u95_cents is None or heard.verdict != "clear":
            return None
        off = cents(heard.hz, self.world.rig.target_hz(action.struck))
        self.beliefs.apply(
            Strike(
                at_s=self.world.now_s,
                bottle=action.struck,
                verdict="clear",
                hz=heard.hz,
                cents=off,
                u95_cents=heard.u95_cents,
                pump_on=self.world.pump_on == action.struck,
            )
        )
        return Gauss(off, heard.u95_cents / Z95)
