"""The program behind a face: a session, an ear in its own thread, a clock, and the journal.

Everything here runs on the face's thread except `_heard`, `_levelled` and `_faulted`, which only put
things aside and wake the face. The clock is passed in, because the virtual rig has its own.
"""

from __future__ import annotations

import queue
from dataclasses import replace
from typing import TYPE_CHECKING

from rounds.faces.controller import Level
from rounds.faces.opening import FOR_TWO, is_asked_for
from rounds.faces.pages import Pages
from rounds.faces.spoken import spoken
from rounds.faces.view import ReadingView
from rounds.faces.viewing import Viewer
from rounds.files.places import make_folder
from rounds.hearing.listener import LEVEL_EVERY_S, Listener
from rounds.hearing.muted import MUTED, Muted
from rounds.notes import cents
from rounds.recognising.recognition import capped
from rounds.sessions.rig_acts import shift_for
from rounds.wording.words import ENDED

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from rounds.events import Part
    from rounds.faces.controller import DriftPath, HealthLine, LogLine, RoundRequest
    from rounds.faces.speech import Speaker
    from rounds.faces.view import View
    from rounds.forecast.promises_said import PromisesPage
    from rounds.hearing.keeping import SoundKeeper
    from rounds.hearing.reading import Reading
    from rounds.hearing.sources import Source
    from rounds.rig import Rig
    from rounds.rigs.thermometer import Thermometer
    from rounds.sessions.session import Session

LOUD_ENOUGH_DB = 12.0
"""A level this far above the floor is a strike or talk, not the room."""
NOISY_DBFS = -40.0
SAID_S = 20.0
"""What happened at the start stands on the screen this long."""
SHOWN_S = 1.5
"""A quick look at a strike is shown until the session has taken the strike in, at most this long."""


class Live:
    """A controller for the screens and for the plain sentences."""

    def __init__(
        self,
        session: Session,
        clock: Callable[[], float],
        *,
        accepted_file: Path,
        device: str = "",
        wall: Callable[[], float] | None = None,
    ) -> None:
        """Put a session behind a face.

        Args:
            session: what to run.
            clock: the session's time (UTC epoch seconds), which nobody can set.
            accepted_file: a file that is there once the cautions were read.
            device: the microphone, in words.
            wall: what the machine's clock shows, for times of day; the session's time when not given.
        """
        self.session = session
        self.first_run = not accepted_file.exists()
        self.people = session.people
        self._accepted_file = accepted_file
        self._clock = clock
        self._wall = wall or clock
        self._viewer = Viewer(session)
        self._readings: queue.SimpleQueue[Reading] = queue.SimpleQueue()
        self._gauges: queue.SimpleQueue[tuple[str, float]] = queue.SimpleQueue()
        self._levels: tuple[float, float] | None = None
        self._muted = Muted()
        self._fault: str | None = None
        self._device = device
        self._wake: Callable[[], None] = lambda: None
        self._listener: Listener | None = None
        self._look: tuple[Reading, str] | None = None
        self._pages = Pages(session)
        self._keeper: SoundKeeper | None = None
        self._thermometer: Thermometer | None = None
        self._request: Callable[[], RoundRequest] | None = None
        self._word, self._word_until_s = "", 0.0
        self._speaker: Speaker | None = None
        self._spoken_of: View | None = None

    # The ear

    def watch(self, thermometer: Thermometer) -> None:
        """Take the air temperature from a thermometer, as often as it gives one."""
        self._thermometer = thermometer

    def speak_with(self, speaker: Speaker | None) -> None:
        """Speak what is new, by this voice; None: be silent."""
        self._speaker = speaker

    def _speak(self) -> None:
        """Say what is new. In a take the voice is silent at once."""
        if self._speaker is None or self.first_run:
            return
        before, self._spoken_of = self._spoken_of, self.view()
        if self._spoken_of.mode == "take":
            self._speaker.hush()
        words = spoken(before, self._spoken_of)
        if words:
            self._speaker.say(words)

    def _is_own_voice(self, reading: Reading) -> bool:
        return self._speaker is not None and self._speaker.spoke_at(reading.at_s)

    def listen_to(self, source_factory: Callable[[], Source], keeper: SoundKeeper | None = None) -> None:
        """Open a source in a thread of its own and listen to it; keep the sound of strikes where asked."""
        self._keeper = keeper
        self._listener = Listener(
            source_factory, self._heard, self._levelled, self._faulted, clock=self._clock
        )
        self._expect()
        self._listener.start()

    def close(self) -> None:
        """Stop listening, and speaking."""
        if self._speaker is not None:
            self._speaker.hush()
        if self._listener is not None:
            self._listener.stop()

    def _heard(self, reading: Reading) -> None:
        self._readings.put(reading)
        self._wake()

    def gauge_read(self, bottle: str, psi: float) -> None:
        """A gauge was read by somebody who has no keys: a virtual player, on a thread of their own."""
        self._gauges.put((bottle, psi))
        self._wake()

    def _levelled(self, level_dbfs: float, floor_dbfs: float) -> None:
        self._levels = (level_dbfs, floor_dbfs)
        if self._muted.feed(level_dbfs, LEVEL_EVERY_S):
            self._wake()

    def _faulted(self, sentence: str | None) -> None:
        self._fault = sentence
        self._wake()

    def _expect(self) -> None:
        if self._listener is not None:
            self._listener.expect(self.session.listening())

    def _take_in(self, reading: Reading) -> None:
        """Only final readings count; the first look before is shown in their place."""
        if not reading.final:
            shown_for = self._may_be(reading)
            self._look = None if shown_for is None else (reading, shown_for)
            return
        asked_for = self._asked_for()
        self.session.strike(reading.at_s, capped(reading))
        self._look = None
        if self._keeper is not None:
            self._keeper.mark(reading.at_s, f"{asked_for or 'any'}_{reading.verdict}")

    def _asked_for(self) -> str | None:
        state = self.session.round
        return None if state is None else state.target

    def _may_be(self, reading: Reading) -> str | None:
        """The bottle that a first look may be of: of two asked for, the one nearest in pitch."""
        asked = [i.bottle for i in self.session.instructions if i.bottle is not None]
        if self.session.people < 2 or reading.hz is None or not asked:
            return self._asked_for()
        hz = reading.hz
        return min(asked, key=lambda b: abs(cents(hz, self.rig.target_hz(b))))

    # The controller of a face

    @property
    def rig(self) -> Rig:
        """The rig."""
        return self.session.rig

    def attach(self, wake: Callable[[], None]) -> None:
        """Remember how to wake the face."""
        self._wake = wake

    def tick(self) -> None:
        """Work off what the ear left, and let time pass."""
        while not self._readings.empty():
            reading = self._readings.get()
            # Nobody tunes while the cautions are still to be read, and what the voice says is no strike.
            if not self.first_run and not self._is_own_voice(reading):
                self._take_in(reading)
        while not self._gauges.empty():
            self.gauge(*self._gauges.get())
        if self._thermometer is not None:
            self._read(self._thermometer)
        self.session.tick(self._clock())
        self.session.record.note_clock(self._wall())
        self._expect()
        self._speak()

    def _read(self, thermometer: Thermometer) -> None:
        temp_c = thermometer.news()
        if temp_c is not None:
            self.session.temperature(temp_c, self._clock(), "thermometer")

    def _trouble(self) -> str | None:
        """What must be said before anything else."""
        kept = None if self._keeper is None else self._keeper.fault
        voice = None if self._speaker is None else self._speaker.fault
        warmth = None if self._thermometer is None else self._thermometer.fault
        muted = MUTED if self._muted.muted and self.session.round is not None else None
        return self._fault or muted or kept or voice or warmth or self.session.record.clock_words or None

    def view(self) -> View:
        """Everything to paint now."""
        now_s = self._clock()
        view = self._viewer.view(now_s)
        word = self._word if now_s < self._word_until_s else ""
        view = replace(view, message=self._trouble() or word or view.message or self.session.record.rig_words)
        if self._look is None or now_s - self._look[0].at_s > SHOWN_S or view.mode != "round":
            return view
        return replace(view, reading=self._look_view(*self._look, now_s) or view.reading)

    def _look_view(self, reading: Reading, bottle_id: str, now_s: float) -> ReadingView | None:
        """A reading that is shown and does not count, against the bottle it is of."""
        if reading.hz is None or reading.verdict != "clear":
            return None
        off = cents(reading.hz, self.rig.target_hz(bottle_id, self.session.day.shift_cents))
        name, age_s = self.rig.bottle(bottle_id).note.name, now_s - reading.at_s
        words = "still measuring: let it ring"
        u95 = reading.u95_cents
        people = self.session.day.people
        whose = None if people is None else people.owner(bottle_id)
        return ReadingView(bottle_id, name, off, u95, "clear", words, reading.hz, age_s, False, whose)

    def level(self) -> Level:
        """The microphone now, in words."""
        if self._fault is not None:
            return Level(None, None, "lost", self._fault, False, self._device)
        if self._listener is None:
            return Level(None, None, "off", "No microphone is open.", None, self._device)
        if self._speaker is not None and self._speaker.speaking:
            return Level(None, None, "shut", "Deaf while the voice speaks.", None, self._device)
        if self._levels is None:
            return Level(None, None, "starting", "Waiting for the first sound.", None, self._device)
        return self._level_in_words(*self._levels)

    def _level_in_words(self, level_dbfs: float, floor_dbfs: float) -> Level:
        words, good = "Quiet enough; strike a bottle to see its level.", True
        if self._muted.muted:
            words, good = MUTED, False
        elif floor_dbfs > NOISY_DBFS:
            words, good = "Noisy: bring the microphone close to the bottle.", False
        elif level_dbfs - floor_dbfs > LOUD_ENOUGH_DB:
            words = "A sound well above the room."
        return Level(level_dbfs, floor_dbfs, "listening", words, good, self._device)

    def clock_s(self) -> float:
        """What the machine's clock shows."""
        return self._wall()

    def accept_cautions(self) -> None:
        """Remember that the cautions were read."""
        self.first_run = False
        make_folder(self._accepted_file.parent)
        self._accepted_file.touch(mode=0o600)
        if self._request is not None:
            self.begin(self._request)

    def begin(self, request: Callable[[], RoundRequest]) -> None:
        """Go on with the open round, or open the one asked for; once the cautions are read.

        Args:
            request: what is asked for, worked out when it is wanted: the cautions take their time.
        """
        self._request = request if self.first_run else None
        if self.first_run:
            return
        standing, asked = self.session.round, request()
        self.people = asked.people or self.session.people
        if standing is None:
            self.open_round(asked)
        elif is_asked_for(standing.opened, asked, self._clock()):
            if asked.temp_c is not None:
                self.temperature(asked.temp_c)
            self._match(asked)
            if self.people > 1 and asked.people is None:
                self.announce(FOR_TWO)
        else:
            self.end_round()
            self.open_round(asked)
            self.announce(ENDED)

    def announce(self, sentence: str) -> None:
        """Show a sentence for a while, where nothing weightier is to be said."""
        self._word, self._word_until_s = sentence, self._clock() + SAID_S

    def open_round(self, request: RoundRequest) -> None:
        """Begin a round."""
        now_s = self._clock()
        if request.let_down:
            self.session.let_down(now_s)
            return
        if request.a4 is not None:
            shift_for(self.rig, self.session.day, request.a4)
        downbeat_s = None if request.downbeat_in_s is None else now_s + request.downbeat_in_s
        self.session.open_round(
            now_s,
            downbeat_s=downbeat_s,
            block_s=request.block_s,
            temp_c=request.temp_c,
            pieces=request.pieces,
            people=request.people or self.people,
            empty=request.empty,
        )
        self._match(request)
        self._expect()

    def _match(self, request: RoundRequest) -> None:
        if request.a4 is not None:
            self.session.match_a4(request.a4, self._clock())

    def end_round(self) -> None:
        """End the round that is open."""
        self.session.close_round(self._clock())

    def skip(self) -> None:
        """Leave the present bottle out."""
        self.session.skip(self._clock())

    def back(self) -> None:
        """Back to the bottle before."""
        self.session.back(self._clock())

    def repeat(self) -> None:
        """Hear the present bottle again."""
        self.session.repeat(self._clock())

    def pump_toggle(self) -> None:
        """The pump head went on or came off."""
        self.session.pump(self.session.pump_on is None, self._clock())

    def other_hand(self) -> None:
        """The keys are the other person's."""
        self.session.other_hand()

    def air(self, strokes: float) -> None:
        """Air moved by the player."""
        self.session.air(strokes, self._clock())

    def done(self) -> None:
        """What is asked for was done."""
        self.session.done(self._clock())

    def temperature(self, temp_c: float) -> None:
        """The air temperature was read."""
        self.session.temperature(temp_c, self._clock())

    def gauge(self, bottle: str, psi: float) -> None:
        """A gauge was read."""
        self.session.gauge(psi, self._clock(), bottle)

    def gauge_typed(self, bottle: str, text: str) -> None:
        """What was typed of a gauge."""
        self.session.gauge_typed(text, self._clock(), bottle)

    def are_empty(self, bottles: bool | Sequence[str]) -> None:
        """Bottles hold no air."""
        self.session.are_empty(self._clock(), bottles)

    def take_toggle(self) -> None:
        """A take begins, or was cut."""
        now_s = self._clock()
        if self.session.day.take is None:
            self.session.start_take(now_s)
        else:
            self.session.stop_take(now_s)

    def note(self, text: str, bottle: str | None) -> None:
        """Write something down."""
        self.session.note(text, self._clock(), bottle)

    def swapped(self, one: str, other: str) -> None:
        """Two bottles changed places, or a spare came in."""
        self.session.swapped(one, other, self._clock())

    def rail_air(self, rail: int, warmer_k: float) -> None:
        """The air at one rail is warmer than the thermometer says."""
        self.session.rail_air(rail, warmer_k, self._clock())

    def let_down(self) -> None:
        """Let the air out of all bottles, one after the other."""
        self.session.let_down(self._clock())

    def replaced(self, bottle: str, part: Part) -> None:
        """A cap or a bottle was replaced."""
        self.session.replaced(bottle, part, self._clock())

    def snooze(self, minutes: float) -> None:
        """No round is called due for so many minutes."""
        self.session.snooze(minutes, self._clock())

    def today(self, bottle: str, *, played: bool) -> None:
        """Whether a bottle is played today."""
        self.session.today(bottle, self._clock(), played=played)

    def undo(self) -> str:
        """Take back the last act."""
        self._look = None
        return self.session.undo(self._clock())

    # The pages beside the round

    def forecast_paths(self) -> Sequence[DriftPath]:
        """Where each needed bottle is going, the first to leave first."""
        return self._pages.forecast_paths(self._clock())

    def log_lines(self) -> Sequence[LogLine]:
        """The newest events, newest first."""
        return self._pages.log_lines()

    def health_lines(self) -> Sequence[HealthLine]:
        """How each bottle and cap has held, the worst first."""
        return self._pages.health_lines(self._clock())

    def promises(self) -> PromisesPage:
        """How far what was promised held."""
        return self._pages.promises()
