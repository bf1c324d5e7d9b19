"""The rig: the player's bottles, pumps and pieces, as read from their TOML file.

Built by `rounds.rigs.rigfile.load_rig`; this module holds only what a rig is. Pressures in kPa gauge,
volumes in mL, positions in cm along the rail, intervals in cents.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Literal

from rounds.air import DEFAULT_CAUTION_KPA, DEFAULT_CEILING_KPA, PressureUnit, psi_to_kpa
from rounds.notes import STANDARD_A4_HZ, Note, shifted_hz

if TYPE_CHECKING:
    import datetime

Group = Literal["bass", "middle", "top"]
GROUPS: tuple[Group, ...] = ("bass", "middle", "top")
PumpKind = Literal["hand", "floor", "regulator"]
PUMP_KINDS: tuple[PumpKind, ...] = ("hand", "floor", "regulator")
USUAL_BARREL_ML = 100.0
"""One full stroke of a pump of which nobody said how much it holds. Common practice, no source."""
UNKNOWN_DIAL_SD_KPA = psi_to_kpa(0.04 * 160.0)
"""A dial of which nobody said anything: 4 % of 160 psi, the worst class of EN 837-1:1996 on the usual dial of
a floor pump. One cheap pump reads 92, 50 and 24 psi at 75, 35 and 15."""
LEAST_DIAL_SD_KPA, DIAL_SD_SHARE = psi_to_kpa(1.0), 0.015
"""A dial whose span the rig names: 1.5 % of it, so that 99.9 % of errors lie within 4.6 %. EN 837-1:1996
allows its worst class 4 % of span anywhere on the dial, and the usual ones 1.6 and 2.5."""
READING_SD_KPA = psi_to_kpa(0.5)
"""What differs from one reading of a dial to the next: half a division, and the air the hose takes. Guess."""
SURE_SD = 3.09
"""So many standard deviations, on one side: 99.9 % of a normal error."""
RELIABLE_LOW = Note(60)
"""C4. Below lies the bass. Common practice, no source."""
RELIABLE_HIGH = Note(88)
"""E6. Above lies the top. Common practice, no source."""


def group_of(note: Note) -> Group:
    """The group a note belongs to when the rig file names none."""
    if note < RELIABLE_LOW:
        return "bass"
    return "top" if note > RELIABLE_HIGH else "middle"


SMALL_FROM = Note(84)
"""C6. From here on the smallest of the usual three sizes holds its pitch at the least pressure; lower down it
would be nearly empty. Worked out by `rounds.workshop.range` from the usual pressures; a test holds it."""


def size_of(note: Note) -> Group:
    """Which of three sizes of bottle plays a note: the range that holds and the sizes are two things."""
    if note < RELIABLE_LOW:
        return "bass"
    return "top" if note >= SMALL_FROM else "middle"


@dataclass(frozen=True)
class Reference:
    """What A4 is, and how far the players alone may let it float (cents, low <= 0 <= high)."""

    a4_hz: float = STANDARD_A4_HZ
    floating: bool = False
    low_cents: float = 0.0
    high_cents: float = 0.0

    def moved_hz(self, shift_cents: float) -> float:
        """A4 as it is tuned to, moved by a shift."""
        return shifted_hz(self.a4_hz, shift_cents)


@dataclass(frozen=True)
class Pump:
    """A pump. `setup_s`: taking it in hand. `release_valve`: it can let air out while connected."""

    id: str
    barrel_ml: float
    release_valve: bool = False
    max_gauge_kpa: float = DEFAULT_CEILING_KPA
    setup_s: float = 10.0
    kind: PumpKind = "floor"
    gauge: bool | None = None
    """Whether its pressure can be read; None: nobody said, so it is asked when it matters."""
    gauge_unit: PressureUnit = "psi"
    """The unit of a reading that is typed as a bare number."""
    gauge_span_kpa: float | None = None
    """What its dial shows at most; None: nobody said."""

    @property
    def gauge_sd_kpa(self) -> float:
        """How far off its dial may be, by the same at each reading, one standard deviation."""
        if self.gauge_span_kpa is None:
            return UNKNOWN_DIAL_SD_KPA
        return max(LEAST_DIAL_SD_KPA, DIAL_SD_SHARE * self.gauge_span_kpa)


@dataclass(frozen=True)
class Bottle:
    """One bottle on its rail, and the pump that fits it."""

    id: str
    note: Note
    volume_ml: float
    rail: int
    position_cm: float
    pump: str
    tolerance_cents: float = 10.0
    ceiling_kpa: float = DEFAULT_CEILING_KPA
    caution_kpa: float = DEFAULT_CAUTION_KPA
    cap_fitted: datetime.date | None = None
    group: Group = "middle"


@dataclass(frozen=True)
class Piece:
    """What is played: the notes it needs with their weights, and what fixes its pitch, if anything does.

    `fixed_by` names an instrument of fixed pitch or a backing track; the reference may not float then.
    """

    name: str
    weights: dict[Note, float]
    fixed_by: str | None = None

    @property
    def notes(self) -> tuple[Note, ...]:
        """The notes needed, low to high."""
        return tuple(sorted(self.weights))


Visiting = Literal["out", "next", "all"]
VISITING: tuple[Visiting, ...] = ("out", "next", "all")
LEAST_DUE_LIMIT, DUE_SHARE = 1.0, 0.05
"""A round is due when the larger of one bottle and a twentieth of those needed are expected to be out: one
of 44 always is soon. Our guess."""


def due_limit_for(needed: int) -> float:
    """How many of so many needed bottles may be out before a round is due, where the rig says nothing."""
    return max(LEAST_DUE_LIMIT, DUE_SHARE * needed)


@dataclass(frozen=True)
class Habits:
    """How the players of this rig work; every number has a default and its own key under [rig]."""

    due_limit: float | None = None
    """The next round is due when this many needed bottles are expected to be out; None: as fits the rig."""
    visit: Visiting = "next"
    """With no downbeat told, whom to visit: only who is out, who will be out before the next round is
    expected, or everybody whom a visit helps in the block."""
    quarantine_s: float = 20.0
    """All visits end this long before the downbeat."""
    block_s: float = 1200.0
    """How long the playing lasts when nothing else is said."""
    strike_s: float = 3.0
    """One strike heard, and on to the next."""
    connect_s: float = 8.0
    """Pump head onto a valve and off again."""
    stroke_s: float = 1.0
    """One stroke."""
    thermometer_file: str | None = None
    thermometer_command: str | None = None


@dataclass(frozen=True)
class Rig:
    """The whole instrument. Bottles stand in file order; use `by_pitch` for low to high."""

    name: str
    bottles: tuple[Bottle, ...]
    pumps: tuple[Pump, ...]
    pieces: tuple[Piece, ...] = ()
    reference: Reference = field(default_factory=Reference)
    habits: Habits = field(default_factory=Habits)
    spares: tuple[Bottle, ...] = ()
    """Bottles that stand by, on no rail; their note is the one they are kept for."""

    @cached_property
    def with_spares(self) -> tuple[Bottle, ...]:
        """The bottles on the rails, then the spares."""
        return self.bottles + self.spares

    @cached_property
    def _bottle_by_id(self) -> dict[str, Bottle]:
        return {b.id: b for b in self.with_spares}

    @cached_property
    def _pump_by_id(self) -> dict[str, Pump]:
        return {p.id: p for p in self.pumps}

    @cached_property
    def by_pitch(self) -> tuple[Bottle, ...]:
        """Bottles from low to high."""
        return tuple(sorted(self.bottles, key=lambda b: (b.note, b.id)))

    def has_bottle(self, bottle_id: str) -> bool:
        """Whether the rig has a bottle of that id, on a rail or standing by."""
        return bottle_id in self._bottle_by_id

    def bottle(self, bottle_id: str) -> Bottle:
        """The bottle with an id.

        Raises:
            KeyError: the rig has no such bottle.
        """
        return self._bottle_by_id[bottle_id]

    def pump(self, pump_id: str) -> Pump:
        """The pump with an id.

        Raises:
            KeyError: the rig has no such pump.
        """
        return self._pump_by_id[pump_id]

    def pump_of(self, bottle_id: str) -> Pump:
        """The pump that a bottle is pumped with."""
        return self.pump(self.bottle(bottle_id).pump)

    def limit_kpa(self, bottle_id: str) -> float:
        """The gauge pressure that no advice passes: the bottle's ceiling, or what its pump can do."""
        return min(self.bottle(bottle_id).ceiling_kpa, self.pump_of(bottle_id).max_gauge_kpa)

    def target_hz(self, bottle_id: str, shift_cents: float = 0.0) -> float:
        """A bottle's target: its note at the rig's reference, moved by a shift."""
        return shifted_hz(self.bottle(bottle_id).note.hz(self.reference.a4_hz), shift_cents)

    def needed_for(self, pieces: tuple[Piece, ...]) -> dict[str, float]:
        """Bottle id to weight for what pieces need; every bottle at weight 1 when no piece is named.

        Where several bottles have one note, all of them are needed.
        """
        if not pieces:
            return {b.id: 1.0 for b in self.bottles}
        weights: dict[Note, float] = {}
        for piece in pieces:
            for note, weight in piece.weights.items():
                weights[note] = max(weight, weights.get(note, 0.0))
        return {b.id: weights[b.note] for b in self.bottles if b.note in weights}

    def missing_for(self, piece: Piece) -> tuple[Note, ...]:
        """Notes of a piece that no bottle plays."""
        have = {b.note for b in self.bottles}
        return tuple(n for n in piece.notes if n not in have)
