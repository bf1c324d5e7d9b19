"""The microphone. The only module that sees sounddevice, and every error of it ends here.

PortAudio's callback puts blocks, and when they came, into a queue and does nothing else; the reader
takes them out and keeps watch (by when they came: a reader that is late has lost nothing). 0.5 s without
a block means that the sound is gone, whatever PortAudio says (a frozen sound server says nothing at
all). Calls into PortAudio are not safe from several threads, and may never return when a server is
frozen, so one thread of our own makes them all and nobody waits for it longer than a few seconds.
"""

from __future__ import annotations

import atexit
import queue
import threading
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

from rounds.errors import AudioError
from rounds.hearing.pace import Pace

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    import numpy as np
    from numpy.typing import NDArray

T = TypeVar("T")
BLOCK_S = 0.010
WATCHDOG_S = 0.5
STOOD_S = 0.3
"""A wait that ends this much late: it was the computer that stood still."""
FIRST_BLOCK_S = 2.0
CALL_S = 3.0
QUEUED_BLOCKS = 3000
"""Thirty seconds: more than that unread and the reader is not coming back."""
RATES_HZ = (48_000, 44_100)
"""Tried in this order before whatever the device itself prefers."""

NO_PORTAUDIO = (
    "PortAudio is not installed, so there is no microphone; on Debian or Ubuntu run "
    "'sudo apt-get install libportaudio2', elsewhere install the sounddevice package again."
)
NO_DEVICE = "No microphone was found; connect one, or choose it in the sound settings, then try again."
LOST = "The microphone was lost; check its plug. Listening goes on when it is back."
SILENT = "Sound stopped coming from the microphone; check its plug. Listening goes on when it is back."


@dataclass(frozen=True)
class InputDevice:
    """Something that can be listened to."""

    index: int
    name: str
    channels: int
    sample_rate_hz: int
    is_default: bool


@dataclass(frozen=True)
class _Block:
    """Samples, and when the callback got them (monotonic seconds)."""

    samples: NDArray[np.float32]
    came_s: float


class _Hands:
    """One daemon thread for all calls into PortAudio."""

    def __init__(self) -> None:
        self._work: queue.SimpleQueue[tuple[Callable[[], Any], queue.SimpleQueue[Any]]] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._run, name="portaudio", daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while True:
            call, answer = self._work.get()
            try:
                answer.put((call(), None))
            except Exception as error:  # noqa: BLE001  (end of a thread: the caller raises it)
                answer.put((None, error))

    def do(self, call: Callable[[], T], timeout_s: float = CALL_S) -> T:
        """Run a call; AudioError when it does not come back in time."""
        answer: queue.SimpleQueue[Any] = queue.SimpleQueue()
        self._work.put((call, answer))
        try:
            result, error = answer.get(timeout=timeout_s)
        except queue.Empty:
            raise AudioError("The sound system does not answer; check that it runs.") from None
        if error is not None:
            raise error
        return result  # type: ignore[no-any-return]


_hands: _Hands | None = None
_hands_lock = threading.Lock()


def _do(call: Callable[[Any], T], timeout_s: float = CALL_S) -> T:
    """Run a call with the sounddevice module, its errors turned into ours."""
    global _hands
    with _hands_lock:
        _hands = _hands or _Hands()
    return _hands.do(lambda: _translated(call), timeout_s)


def _translated(call: Callable[[Any], T]) -> T:
    try:
        # Late: it loads PortAudio, which may be missing, and takes 80 ms.
        import sounddevice
    except (ImportError, OSError) as error:
        raise AudioError(NO_PORTAUDIO) from error
    try:
        return call(sounddevice)
    except sounddevice.PortAudioError as error:
        raise AudioError(f"The microphone cannot be opened ({_reason(error)}); check its plug.") from error


def _reason(error: Exception) -> str:
    text = str(error.args[0]) if error.args else str(error)
    return text.split(" [PaErrorCode")[0].rstrip(".")


def input_devices() -> list[InputDevice]:
    """Everything that can be listened to; empty when there is nothing."""
    return _do(_list_devices)


def _list_devices(sd: Any) -> list[InputDevice]:
    default = sd.default.device[0]
    rows = [(i, d) for i, d in enumerate(sd.query_devices()) if d["max_input_channels"] > 0]
    if default < 0 and rows:
        default = rows[0][0]
    return [
        InputDevice(i, d["name"], d["max_input_channels"], round(d["default_samplerate"]), i == default)
        for i, d in rows
    ]


def _pick(sd: Any, wanted: int | str | None) -> InputDevice:
    devices = _list_devices(sd)
    if not devices:
        raise AudioError(NO_DEVICE)
    if wanted is None:
        return next((d for d in devices if d.is_default), devices[0])
    named = [d for d in devices if wanted == d.index or str(wanted).casefold() in d.name.casefold()]
    if isinstance(wanted, str) and wanted.isdecimal():
        named = [d for d in devices if d.index == int(wanted)]
    if not named:
        raise AudioError(f"There is no microphone {wanted!r}; `rounds check` lists those there are.")
    return named[0]


def _pick_rate(sd: Any, device: InputDevice) -> int:
    for rate_hz in (*RATES_HZ, device.sample_rate_hz):
        try:
            sd.check_input_settings(device=device.index, channels=1, dtype="float32", samplerate=rate_hz)
        except (sd.PortAudioError, ValueError):
            continue
        return int(rate_hz)
    raise AudioError(
        f"The microphone {device.name!r} cannot be opened; check its plug, or choose another with --device."
    )


class Microphone:
    """An open microphone as a source of 10 ms blocks."""

    def __init__(self, device: int | str | None = None) -> None:
        self._queue: queue.Queue[_Block | None] = queue.Queue(maxsize=QUEUED_BLOCKS)
        self._closed = False
        self._overflowed = False
        self._stream: Any = None
        try:
            self.device, self._rate_hz = _do(lambda sd: self._open(sd, device))
        except AudioError:
            self._closed = True  # a call that hangs may yet come back, and must not leave a stream open
            raise

    def _open(self, sd: Any, wanted: int | str | None) -> tuple[InputDevice, int]:
        _look_again(sd)
        device = _pick(sd, wanted)
        rate_hz = _pick_rate(sd, device)
        self._stream = sd.InputStream(
            device=device.index,
            channels=1,
            dtype="float32",
            samplerate=rate_hz,
            blocksize=round(BLOCK_S * rate_hz),
            latency="low",
            callback=self._take,
            finished_callback=self._finished,
        )
        _open_streams.add(id(self))
        self._stream.start()
        if self._closed:
            self._shut()
        return device, rate_hz

    @property
    def sample_rate_hz(self) -> int:
        """Frames a second."""
        return self._rate_hz

    def _take(self, block: NDArray[np.float32], _frames: int, _time: Any, _status: Any) -> None:
        try:
            self._queue.put_nowait(_Block(block[:, 0].copy(), time.monotonic()))
        except queue.Full:
            self._overflowed = True

    def _finished(self) -> None:
        if not self._closed and not self._queue.full():
            self._queue.put_nowait(None)

    def blocks(self) -> Iterator[NDArray[np.float32]]:
        """Blocks until closed.

        Raises:
            AudioError: the device was lost, stopped delivering, or sound was dropped on the way.
        """
        pace = Pace(self._rate_hz)
        patience_s = FIRST_BLOCK_S
        while not self._closed:
            block = self._next(patience_s)
            patience_s = WATCHDOG_S
            if block is None:
                return
            lost_s = pace.feed(block.samples.size, block.came_s)
            if lost_s or self._overflowed:
                raise AudioError(
                    f"{lost_s:.1f} s of sound were lost (the computer was too busy); strike again."
                )
            yield block.samples

    def _next(self, patience_s: float) -> _Block | None:
        try:
            block = self._get(patience_s)
        except queue.Empty:
            if self._closed:
                return None
            raise AudioError(SILENT) from None
        if block is None and not self._closed:
            raise AudioError(LOST)
        return block

    def _get(self, patience_s: float) -> _Block | None:
        """Wait for a block; once more where the computer stood still, for the sound may have been kept."""
        begun_s = time.monotonic()
        try:
            return self._queue.get(timeout=patience_s)
        except queue.Empty:
            if time.monotonic() - begun_s < patience_s + STOOD_S:
                raise
        return self._queue.get(timeout=patience_s)

    def close(self) -> None:
        """Give the device back; never waits long, even for a frozen sound server."""
        if self._closed:
            return
        self._closed = True
        if not self._queue.full():
            self._queue.put_nowait(None)
        try:
            _do(lambda _sd: self._shut(), timeout_s=1.0)
        except AudioError:
            _forget_exit_handler()

    def _shut(self) -> None:
        _open_streams.discard(id(self))
        self._stream.abort(ignore_errors=True)
        self._stream.close(ignore_errors=True)


_open_streams: set[int] = set()


def _look_again(sd: Any) -> None:
    """Make PortAudio list the devices anew: it only does so when it starts."""
    if not _open_streams:
        sd._terminate()
        sd._initialize()


def _forget_exit_handler() -> None:
    """A call into PortAudio hangs: its clean-up at exit would hang too, and keep the process alive."""
    import sounddevice

    atexit.unregister(sounddevice._exit_handler)
