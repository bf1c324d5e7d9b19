"""What the faces ask of the program: one `View` to paint, and the player's intents.

The screens and the plain sentences both talk to this protocol and to nothing else; it imports no
Textual. Everything here is called on the face's own thread. Readings come from another thread: the
controller keeps them in a queue, calls `wake` (given to `attach`; safe from any thread), and works
the queue off in `tick`, which the face calls once a second and after every wake.

An intent that cannot be carried out raises `rounds.errors.RoundsError`; the face shows its sentence.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, Protocol

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from rounds.belief.in_or_out import Ahead
    from rounds.events import Part
    from rounds.faces.view import View
    from rounds.forecast.promises_said import PromisesPage
    from rounds.rig import Rig

USUAL_SNOOZE_MIN = 10.0
"""How long a round is put off where no time is typed."""
SoundState = Literal["listening", "starting", "lost", "off", "shut"]
"""`shut`: deaf for the moment, while the voice speaks."""
HealthState = Literal["good", "watch", "replace", "unknown"]


@dataclass(frozen=True)
class Level:
    """The microphone now. `words` says what it means and what to do; `good` None: too early to say."""

    dbfs: float | None
    floor_dbfs: float | None
    state: SoundState
    words: str
    good: bool | None = None
    device: str = ""
    strike_dbfs: float = -55.0
    """From here up a strike can be heard."""


@dataclass(frozen=True)
class DriftPath:
    """Where one bottle is expected to go: cents off its aim at minutes from now, and how sure that is."""

    bottle: str
    note: str
    minutes: tuple[float, ...]
    cents: tuple[float, ...]
    sd_cents: tuple[float, ...]
    standings: tuple[Ahead, ...]
    """How it is expected to stand at each of the minutes."""
    tolerance_cents: float
    leaves_min: float | None


@dataclass(frozen=True)
class LogLine:
    """One line of the log. `at` is local time, ready to show."""

    at: str
    kind: str
    bottle: str
    text: str


@dataclass(frozen=True)
class HealthLine:
    """How one bottle has held over the days, and what to do about it."""

    bottle: str
    note: str
    state: HealthState
    figures: str
    advice: str


@dataclass(frozen=True)
class RoundRequest:
    """What the player asks of a new round; None: not said."""

    downbeat_in_s: float | None = None
    block_s: float | None = None
    pieces: tuple[str, ...] = ()
    temp_c: float | None = None
    people: int | None = None
    """How many tune at once, each with their own pump; not said: as many as the start was told."""
    empty: bool | tuple[str, ...] = False
    """Bottles without air, filled before they are struck; True: all of the round."""
    a4: float | str | None = None
    """What A4 is tuned to, in hertz, or `last`: as in the round before; None: as the rig says."""
    let_down: bool = False
    """Whether the air is let out of all bottles, and nothing tuned."""


class Controller(Protocol):
    """The program behind a face."""

    first_run: bool
    """Whether the cautions have yet to be read and accepted."""
    people: int
    """How many tune at once in a round that does not say so itself."""

    @property
    def rig(self) -> Rig:
        """The rig, for the rig screen and for the names that may be typed."""

    def attach(self, wake: Callable[[], None]) -> None:
        """Remember what to call, from any thread, when something changed."""

    def tick(self) -> None:
        """Let time pass and work off what other threads left."""

    def view(self) -> View:
        """Everything to paint now. Cheap: it is asked for after every key."""

    def level(self) -> Level:
        """The microphone now."""

    def clock_s(self) -> float:
        """What the machine's clock shows, to turn a downbeat such as 19:30 into a time to go."""

    def accept_cautions(self) -> None:
        """The cautions were read; do not show them first again."""

    def open_round(self, request: RoundRequest) -> None:
        """Begin a round."""

    def end_round(self) -> None:
        """End the round that is open."""

    def skip(self) -> None:
        """Leave the present bottle out of this round."""

    def back(self) -> None:
        """Go back to the bottle before."""

    def repeat(self) -> None:
        """Hear the present bottle again; the last reading is not believed."""

    def pump_toggle(self) -> None:
        """The pump head went onto the present valve, or came off."""

    def other_hand(self) -> None:
        """Of two who tune at once: from now on the keys are the other person's."""

    def air(self, strokes: float) -> None:
        """Air moved by the player: strokes in, or out when negative."""

    def done(self) -> None:
        """What is asked for was done, though no strike shows it yet."""

    def temperature(self, temp_c: float) -> None:
        """The air temperature was read."""

    def gauge(self, bottle: str, psi: float) -> None:
        """A pressure gauge was read on a bottle."""

    def gauge_typed(self, bottle: str, text: str) -> None:
        """What was typed of a gauge: `46`, `3.2 bar`, or `none` where the pump has no gauge."""

    def are_empty(self, bottles: bool | Sequence[str]) -> None:
        """Bottles of the open round hold no air; True: all that were not heard yet."""

    def take_toggle(self) -> None:
        """A take begins, or was cut."""

    def note(self, text: str, bottle: str | None) -> None:
        """Write something down, about a bottle or about the day."""

    def swapped(self, one: str, other: str) -> None:
        """Two bottles changed places, or a spare came in."""

    def rail_air(self, rail: int, warmer_k: float) -> None:
        """The air at one rail is warmer than the thermometer says, by so many kelvin."""

    def let_down(self) -> None:
        """Let the air out of all bottles, one after the other; an open round ends first."""

    def replaced(self, bottle: str, part: Part) -> None:
        """A cap or a bottle was replaced."""

    def snooze(self, minutes: float) -> None:
        """No round is called due for so many minutes."""

    def today(self, bottle: str, *, played: bool) -> None:
        """Whether a bottle is played today."""

    def undo(self) -> str:
        """Take back the player's last act, and what came of it; what it was, in words."""

    def forecast_paths(self) -> Sequence[DriftPath]:
        """The path of each needed bottle, the first to leave its tolerance first."""

    def log_lines(self) -> Sequence[LogLine]:
        """The log, newest first."""

    def health_lines(self) -> Sequence[HealthLine]:
        """The health of each bottle, the worst first."""

    def promises(self) -> PromisesPage:
        """How far what was promised of readings, forecasts, doses and due times held."""
