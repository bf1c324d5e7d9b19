"""Will this microphone do, where it is? Its level, its noise and a few strikes of any bottle, in plain words.

One sentence says what to change, the worst first. The limits are common practice, no source, except that for
the uncertainty: half of the usual tolerance of 10 cents must be left for the bottle.
"""

from __future__ import annotations

import math
import statistics
from typing import TYPE_CHECKING

import numpy as np

from rounds.hearing.ear import Ear
from rounds.hearing.muted import DEAD_DBFS
from rounds.hearing.reading import Expectation

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rounds.hearing.reading import Reading

NOISY_DBFS = -40.0
FAINT_DBFS = -45.0
CLIPPED_AT, CLIPPED_SAMPLES = 0.97, 8
GOOD_U95_CENTS = 2.0
USABLE_U95_CENTS = 5.0
GLIDES_CENTS = 8.0
STEP_S = 0.05
KEPT_S = 60.0
BEFORE_S, AFTER_S = (0.4, 0.05), (0.15, 1.2)
"""Where the quiet before a strike and the fall after it are looked for."""
RIDES_DB = 6.0
"""The room cannot be quieter just after a strike than before it, unless the gain was turned down."""
HUM_HZ = (50.0, 60.0)
HUM_HARMONICS = 8
HUM_DBFS, HUM_SHARE, HUM_LEAST_S = -70.0, 0.5, 0.3

DEAD = "Nothing comes in at all: unmute the microphone, or allow this program to use it."
CLIPS = "It is too loud and clips: turn the microphone down."
RIDES = "The microphone changes its own gain: switch automatic gain and noise suppression off."
HUMS = "Mains hum comes in: try another cable, socket or microphone."
NOISY = "It is noisy here: bring the microphone close to the bottle, and turn fans away."
NO_STRIKE = "No strike was heard: strike a bottle while it listens."


class SoundCheck:
    """Fed with blocks from the microphone; says what to think of them."""

    def __init__(self, sample_rate_hz: int) -> None:
        self._rate_hz = sample_rate_hz
        self._ear = Ear(sample_rate_hz, Expectation(), stages=("final",), every=True)
        self._peak = 0.0
        self._clipped = 0
        self._quietest_dbfs = math.inf
        self._kept: list[NDArray[np.float32]] = []
        self.readings: list[Reading] = []

    def feed(self, block: NDArray[np.float32]) -> None:
        """Take the next block."""
        size = np.abs(block)
        self._peak = max(self._peak, float(np.max(size, initial=0.0)))
        self._clipped += int(np.count_nonzero(size >= CLIPPED_AT))
        self.readings += self._ear.feed(block)
        self._quietest_dbfs = min(self._quietest_dbfs, self._ear.noise_floor_dbfs)
        if self._ear.heard_s < KEPT_S:
            self._kept.append(np.array(block, dtype=np.float32))

    def flush(self) -> None:
        """Nothing more comes: read a strike that still rang."""
        self.readings += self._ear.flush()

    @property
    def dead(self) -> bool:
        """Whether nothing came in at all."""
        return self.figures()["peak_dbfs"] < DEAD_DBFS

    def figures(self) -> dict[str, float]:
        """The numbers."""
        floor_dbfs = self._quietest_dbfs if math.isfinite(self._quietest_dbfs) else -120.0
        return {
            "level_dbfs": round(self._ear.level_dbfs, 1),
            "noise_floor_dbfs": round(floor_dbfs, 1),
            "peak_dbfs": round(20.0 * math.log10(max(self._peak, 1e-6)), 1),
        }

    def placing(self) -> tuple[str, str]:
        """Whether it stands well (good, usable, bad), and the one sentence on what to change."""
        if self.dead:
            return "bad", DEAD
        sound = np.concatenate(self._kept) if self._kept else np.zeros(0, np.float32)
        clips = self._clipped >= CLIPPED_SAMPLES or any(r.clipped for r in self.readings)
        found = (
            (clips, CLIPS),
            (self._rides(sound), RIDES),
            (self._hums(sound), HUMS),
            (self.figures()["noise_floor_dbfs"] > NOISY_DBFS, NOISY),
        )
        worst = next((sentence for is_so, sentence in found if is_so), None)
        return ("bad", worst) if worst else self._of_the_strikes()

    def says(self) -> list[str]:
        """The sentence, alone in a list."""
        return [self.placing()[1]]

    def _of_the_strikes(self) -> tuple[str, str]:
        clear = [r for r in self.readings if r.verdict == "clear" and r.u95_cents is not None]
        if not self.readings:
            return "usable", NO_STRIKE
        if not clear:
            return "bad", "No strike was clear. " + self.readings[-1].advice
        u95 = statistics.median(r.u95_cents or 0.0 for r in clear)
        sure = f"A strike is read to ± {u95:.1f} cents"
        if all(r.fainter_than(FAINT_DBFS) for r in clear):
            return "usable", f"{sure}, but it is faint: bring the microphone closer or turn it up."
        if statistics.median(r.glide_cents or 0.0 for r in clear) > GLIDES_CENTS:
            return "usable", f"{sure}, but it glides: strike more softly."
        if u95 <= GOOD_U95_CENTS:
            return "good", f"{sure}: this will do."
        if u95 <= USABLE_U95_CENTS:
            return "usable", f"{sure}: usable; closer to the bottle is better."
        return "bad", f"{sure}: the room is heard too much. Bring the microphone within a hand of the bottle."

    def _rides(self, sound: NDArray[np.float32]) -> bool:
        """Whether it is quieter just after most strikes than it was before them."""
        step = round(STEP_S * self._rate_hz)
        level_dbfs = _levels_dbfs(sound, step)
        falls = []
        for reading in self.readings:
            at = reading.at_s / STEP_S
            before, after = (
                level_dbfs[max(0, math.floor(at + a / STEP_S)) : max(0, math.ceil(at + b / STEP_S))]
                for a, b in ((-BEFORE_S[0], -BEFORE_S[1]), AFTER_S)
            )
            if before.size and after.size:
                falls.append(float(np.median(before) - after.min()) > RIDES_DB)
        return bool(falls) and 2 * sum(falls) > len(falls)

    def _hums(self, sound: NDArray[np.float32]) -> bool:
        """Whether most of what comes in before the first strike is the mains."""
        end_s = self.readings[0].at_s - BEFORE_S[1] if self.readings else KEPT_S
        quiet = sound[: max(0, round(end_s * self._rate_hz))].astype(np.float64)
        if quiet.size < HUM_LEAST_S * self._rate_hz:
            return False
        quiet -= quiet.mean()
        power = np.abs(np.fft.rfft(quiet * np.hanning(quiet.size))) ** 2
        hz = np.fft.rfftfreq(quiet.size, 1.0 / self._rate_hz)
        near_hz = 2.5 * self._rate_hz / quiet.size + 0.5
        total = float(power[hz > HUM_HZ[0] / 2].sum()) + 1e-30
        shares = [
            sum(float(power[np.abs(hz - k * mains) < near_hz].sum()) for k in range(1, HUM_HARMONICS + 1))
            / total
            for mains in HUM_HZ
        ]
        return _dbfs(quiet) > HUM_DBFS and max(shares) > HUM_SHARE


def _levels_dbfs(sound: NDArray[np.float32], step: int) -> NDArray[np.float64]:
    whole = sound[: sound.size - sound.size % step].astype(np.float64).reshape(-1, step)
    return np.asarray(
        10.0 * np.log10(np.square(whole - whole.mean(axis=1, keepdims=True)).mean(axis=1) + 1e-12)
    )


def _dbfs(sound: NDArray[np.float64]) -> float:
    return 10.0 * math.log10(float(np.mean(np.square(sound))) + 1e-12)
