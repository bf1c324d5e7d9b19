"""`rounds tune --lines`: one JSON object in, one out, per line. The same session drives the screens.

Pure: a line and the time in, the answer out. A line that cannot be used is answered with one
sentence under `error` and changes nothing.
"""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Any

from rounds.air import kpa_to_psi
from rounds.errors import BadInput, RoundsError
from rounds.events import VERDICTS
from rounds.guide.people import MOST_PEOPLE
from rounds.hearing.reading import Reading
from rounds.sessions.rig_acts import LAST_A4, shift_for
from rounds.times.journal_time import zero_of
from rounds.wording.printable import plain
from rounds.wording.words import ENDED

if TYPE_CHECKING:
    from collections.abc import Callable

    from rounds.events import Strike
    from rounds.guide.round import RoundState
    from rounds.instruction import Instruction
    from rounds.sessions.session import Session

    Hear = Callable[[Session, str], list[Reading]]

MOST_LINE_CHARS = 100_000
OPEN_KEYS = ("downbeat_t", "block_s", "temp_c", "pieces", "people", "empty", "a4_hz")
MOST_T_S = 1e7
"""Nearly four months. A journal that a slip sent further ahead would believe no later time."""


class Lines:
    """Answers lines on one session. `hear` measures a WAV file against what is listened for now.

    `people` is how many tune in a round that does not say so itself. A round that stands open for another
    number is ended, as on the screens; when nothing is said, it goes on.
    """

    def __init__(self, session: Session, zero_s: float, hear: Hear, people: int | None = None) -> None:
        self.session = session
        self.people = people or session.people
        self._said = ""
        if session.round is not None and session.people != self.people:
            session.close_round(session.now_s)
            self._said = ENDED
        self._zero_s = zero_s
        self._begun = False
        self._hear = hear
        self._taken_back: str | None = None
        self._acts: dict[str, Callable[[Any, float], Strike | None]] = {
            "open": self._open,
            "empty": self._are_empty,
            "done": self._done,
            "strike": self._strike,
            "wav": self._wav,
            "pump": self._pump,
            "air": self._air,
            "temp_c": self._temperature,
            "gauge_psi": self._gauge,
            "gauge": self._gauge_typed,
            "rail_air": self._rail_air,
            "swap": self._swap,
            "let_down": self._let_down,
            "take": self._take,
            "skip": self._skip,
            "snooze": self._snooze,
            "not_today": self._not_today,
            "today": self._today,
            "back": self._back,
            "undo": self._undo,
            "tick": self._tick,
            "close": self._close,
        }

    def answer(self, line: str, clock_s: float) -> str:
        """The answer to one line; `clock_s` is the session's clock, for lines that carry no `t`."""
        error, strike, self._taken_back = None, None, None
        at_s = self._zero_s + clock_s
        try:
            t, person, key, value = _parse(line, tuple(self._acts))
            if person is not None and self.session.round is not None and person > self.session.people:
                raise BadInput(f"this round is for one person; there is no person {person} in it")
            self.session.hand = self._whose_act(key, value) if person is None else person - 1
            at_s = self._time(clock_s if t is None else t)
            strike = self._acts[key](value, at_s)
        except RoundsError as problem:
            error = plain(problem)
        document = self._document(at_s, strike, error)
        if self._said:
            document["said"], self._said = self._said, ""
        return json.dumps(document, ensure_ascii=False, allow_nan=False)

    def _time(self, t: float) -> float:
        """Where the journal is later than the first line, this session's `t` counts on from the journal."""
        if not self._begun:
            self._begun = True
            self._zero_s = zero_of(self._zero_s, t, self.session.now_s)
        return self._zero_s + t

    def _whose_act(self, key: str, value: Any) -> int:
        """The person of an act that names nobody: a head that comes off is the only one that is on."""
        people = self.session.day.people
        if people is None or key != "pump" or value != "off":
            return 0
        return next((i for i, own in enumerate(people.rounds) if own.pump_on is not None), 0)

    def _document(self, at_s: float, strike: Strike | None, error: str | None) -> dict[str, Any]:
        session = self.session
        instructions, state = session.instructions, session.round
        due = session.due(at_s)
        reference_hz = session.rig.reference.moved_hz(session.day.shift_cents)
        several = {"people": [{"person": i, "do": _do(told)} for i, told in enumerate(instructions, 1)]}
        return {
            "do": _do(instructions[0]),
            **(several if len(instructions) > 1 else {}),
            "reading": None if strike is None else _reading(strike),
            "round": {
                "open": state is not None,
                "connections": 0 if state is None else state.connections,
                "left": 0 if state is None else len(state.open_bottles),
                "needed": 0 if state is None else len(state.needed),
                **self._time_is_short(state),
                **({"reference_hz": _rounded(reference_hz)} if session.day.shift_cents else {}),
            },
            "due_t": None if due.due_s is None else _rounded(due.due_s - self._zero_s),
            "call": session.call(at_s) if state is None else None,
            "error": error,
            **({} if self._taken_back is None else {"taken_back": self._taken_back}),
        }

    def _time_is_short(self, state: RoundState | None) -> dict[str, Any]:
        """Who stays out for want of time, and what the work that is left takes; nothing where all fit."""
        plan = None if state is None else self.session.plan()
        if plan is None or not plan.sacrificed:
            return {}
        return {"work_s": _rounded(plan.work_s), "stays_out": list(plan.sacrificed)}

    def _open(self, value: Any, at_s: float) -> None:
        fields = _object(value, "open", OPEN_KEYS)
        downbeat_t = _number_or_none(fields, "downbeat_t")
        if downbeat_t is not None:
            _check_t(downbeat_t, "downbeat_t")
        pieces = [] if fields.get("pieces") is None else fields["pieces"]
        a4_hz = LAST_A4 if fields.get("a4_hz") == LAST_A4 else _number_or_none(fields, "a4_hz")
        if not isinstance(pieces, list) or not all(isinstance(p, str) for p in pieces):
            raise BadInput("pieces must be a list of names")
        if a4_hz is not None:
            shift_for(self.session.rig, self.session.day, a4_hz)
        self.session.open_round(
            at_s,
            downbeat_s=None if downbeat_t is None else self._zero_s + downbeat_t,
            block_s=_number_or_none(fields, "block_s"),
            temp_c=_number_or_none(fields, "temp_c"),
            pieces=pieces,
            people=self._people(fields.get("people")),
            empty=_empty(fields.get("empty"), "open.empty"),
        )
        if a4_hz is not None:
            self.session.match_a4(a4_hz, at_s)

    def _are_empty(self, value: Any, at_s: float) -> None:
        empty = _empty(value, "empty")
        if empty is not False:
            self.session.are_empty(at_s, empty)

    def _done(self, value: Any, at_s: float) -> None:
        if _true(value, "done"):
            self.session.done(at_s)

    def _people(self, value: object) -> int:
        if value is None:
            return self.people
        if not isinstance(value, int) or isinstance(value, bool) or not 1 <= value <= MOST_PEOPLE:
            raise BadInput(f"people must be 1 or {MOST_PEOPLE}, not {_shown(value)}")
        return value

    def _strike(self, value: Any, at_s: float) -> Strike | None:
        fields = _object(value, "strike", ("hz", "u95_cents", "verdict"))
        verdict = fields.get("verdict", "clear")
        if verdict not in VERDICTS:
            raise BadInput(f"strike.verdict must be one of {', '.join(VERDICTS)}, not {_shown(verdict)}")
        is_heard = verdict == "clear" or fields.get("hz") is not None
        hz = _number(fields.get("hz"), "strike.hz") if is_heard else None
        u95 = _number_or_none(fields, "u95_cents")
        return self.session.strike(at_s, Reading(hz, u95, verdict))

    def _wav(self, value: Any, at_s: float) -> Strike | None:
        if not isinstance(value, str) or not value:
            raise BadInput("wav must be the name of a file")
        newest = None
        for sounded in self._hear(self.session, value):
            newest = self.session.strike(at_s, sounded)
        return newest

    def _pump(self, value: Any, at_s: float) -> None:
        if value not in ("on", "off"):
            raise BadInput(f'pump must be "on" or "off", not {_shown(value)}')
        self.session.pump(value == "on", at_s)

    def _air(self, value: Any, at_s: float) -> None:
        self.session.air(_number(value, "air"), at_s)

    def _temperature(self, value: Any, at_s: float) -> None:
        self.session.temperature(_number(value, "temp_c"), at_s)

    def _gauge(self, value: Any, at_s: float) -> None:
        self.session.gauge(_number(value, "gauge_psi"), at_s)

    def _gauge_typed(self, value: Any, at_s: float) -> None:
        if not isinstance(value, str):
            raise BadInput(f'gauge must be text such as "3.2 bar" or "none", not {_shown(value)}')
        self.session.gauge_typed(value, at_s)

    def _rail_air(self, value: Any, at_s: float) -> None:
        fields = _object(value, "rail_air", ("rail", "warmer_k"))
        rail = _number(fields.get("rail"), "rail_air.rail")
        self.session.rail_air(int(rail), _number(fields.get("warmer_k"), "rail_air.warmer_k"), at_s)

    def _swap(self, value: Any, at_s: float) -> None:
        if not isinstance(value, list) or len(value) != 2 or not all(isinstance(b, str) for b in value):
            raise BadInput(f'swap must be two bottles such as ["C4", "E4"], not {_shown(value)}')
        self.session.swapped(value[0], value[1], at_s)

    def _let_down(self, value: Any, at_s: float) -> None:
        if _true(value, "let_down"):
            self.session.let_down(at_s)

    def _take(self, value: Any, at_s: float) -> None:
        if value not in ("start", "stop"):
            raise BadInput(f'take must be "start" or "stop", not {_shown(value)}')
        if value == "start":
            self.session.start_take(at_s)
        else:
            self.session.stop_take(at_s)

    def _skip(self, value: Any, at_s: float) -> None:
        if _true(value, "skip"):
            self.session.skip(at_s)

    def _snooze(self, value: Any, at_s: float) -> None:
        self.session.snooze(_number(value, "snooze"), at_s)

    def _not_today(self, value: Any, at_s: float) -> None:
        self.session.today(_name(value, "not_today"), at_s, played=False)

    def _today(self, value: Any, at_s: float) -> None:
        self.session.today(_name(value, "today"), at_s, played=True)

    def _back(self, value: Any, at_s: float) -> None:
        if _true(value, "back"):
            self.session.back(at_s)

    def _undo(self, value: Any, at_s: float) -> None:
        if _true(value, "undo"):
            self._taken_back = self.session.undo(at_s)

    def _tick(self, value: Any, at_s: float) -> None:
        if _true(value, "tick"):
            self.session.tick(at_s)

    def _close(self, value: Any, at_s: float) -> None:
        if _true(value, "close"):
            self.session.close_round(at_s)


def time_in(line: str) -> float | None:
    """The `t` of a line; None where it has none, or cannot be used."""
    try:
        t = json.loads(line[:MOST_LINE_CHARS]).get("t")
    except (ValueError, RecursionError, AttributeError):
        return None
    usable = isinstance(t, int | float) and not isinstance(t, bool) and _finite(t) and abs(t) <= MOST_T_S
    return float(t) if usable else None


def _parse(line: str, allowed: tuple[str, ...]) -> tuple[float | None, int | None, str, Any]:
    """The time, the person who acted, the act and its value."""
    if len(line) > MOST_LINE_CHARS:
        raise BadInput(f"a line of {len(line)} characters is too long; send one small JSON object")
    try:
        fields = json.loads(line)
    except json.JSONDecodeError as problem:
        where = f"{problem.msg} at character {problem.pos + 1}"
        raise BadInput(f"not a JSON object: {'it is not UTF-8' if 'BOM' in where else where}") from None
    except (ValueError, RecursionError):
        raise BadInput(
            "not a JSON object that could be a line: it nests too deep, or a number is too long"
        ) from None
    if not isinstance(fields, dict):
        raise BadInput(f"not a JSON object but {_shown(fields)}")
    t = _number(fields["t"], "t") if fields.get("t") is not None else None
    if t is not None:
        _check_t(t, "t")
    person = fields.pop("person", None)
    if person is not None and (isinstance(person, bool) or person not in range(1, MOST_PEOPLE + 1)):
        raise BadInput(f"person must be 1 or {MOST_PEOPLE}, not {_shown(person)}")
    keys = [k for k in fields if k != "t"]
    unknown = [k for k in keys if k not in allowed]
    if unknown:
        raise BadInput(f"unknown key {_shown(unknown[0])}; allowed are t, person, {', '.join(allowed)}")
    if len(keys) != 1:
        raise BadInput(f'one act a line, not {len(keys)}; a line with nothing to say is {{"tick": true}}')
    return t, None if person is None else int(person), keys[0], fields[keys[0]]


def _check_t(t: float, name: str) -> None:
    if abs(t) > MOST_T_S:
        raise BadInput(f"{name} {t:g} is not seconds of this session; the first line is about 0")


def _shown(value: object) -> str:
    text = json.dumps(value, ensure_ascii=True, default=str)
    return text if len(text) <= 60 else f"{text[:57]}..."


def _number(value: object, name: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not _finite(value):
        raise BadInput(f"{name} must be a number, not {_shown(value)}")
    return float(value)


def _finite(value: float) -> bool:
    try:
        return math.isfinite(value)
    except OverflowError:
        return False


def _number_or_none(fields: dict[str, Any], name: str) -> float | None:
    return None if fields.get(name) is None else _number(fields[name], name)


def _object(value: object, name: str, allowed: tuple[str, ...]) -> dict[str, Any]:
    if value is True:
        return {}
    if not isinstance(value, dict):
        raise BadInput(f"{name} must be an object, not {_shown(value)}")
    unknown = [k for k in value if k not in allowed]
    if unknown:
        raise BadInput(f"unknown key {_shown(unknown[0])} in {name}; allowed are {', '.join(allowed)}")
    return value


def _empty(value: object, name: str) -> bool | list[str]:
    if value is None or isinstance(value, bool):
        return bool(value)
    if not isinstance(value, list) or not value or not all(isinstance(b, str) for b in value):
        raise BadInput(f"{name} must be true or a list of bottles, not {_shown(value)}")
    return value


def _name(value: object, name: str) -> str:
    if not isinstance(value, str):
        raise BadInput(f'{name} must be the id of a bottle such as "C4", not {_shown(value)}')
    return value


def _true(value: object, name: str) -> bool:
    if not isinstance(value, bool):
        raise BadInput(f"{name} must be true, not {_shown(value)}")
    return value


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 2)


def _do(told: Instruction) -> dict[str, Any]:
    return {
        "act": told.act,
        "bottle": told.bottle,
        "pump": told.pump,
        "strokes": told.strokes,
        "aim_cents": _rounded(told.aim_cents),
        "why": told.why,
        "expected_psi": _psi(told.expected_kpa),
        "stop_psi": _psi(told.stop_kpa),
        "caution": told.caution,
        **({} if told.to_kpa is None else {"to_psi": _psi(told.to_kpa)}),
    }


def _psi(gauge_kpa: float | None) -> float | None:
    return None if gauge_kpa is None else round(kpa_to_psi(gauge_kpa), 1)


def _reading(strike: Strike) -> dict[str, Any]:
    return {
        "bottle": strike.bottle,
        "cents": _rounded(strike.cents),
        "u95_cents": _rounded(strike.u95_cents),
        "verdict": strike.verdict,
    }
