"""What the pages beside the round show of a session: its forecasts, its log, the health of its bottles.

The log and the health are made only when asked for, so their modules are imported then: the first
screen does not wait for them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rounds.belief.in_or_out import ahead
from rounds.faces.controller import DriftPath, HealthLine, LogLine
from rounds.forecast.drift import forecast
from rounds.gauss import Gauss
from rounds.wording.words import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rounds.belief.in_or_out import Ahead
    from rounds.faces.controller import HealthState
    from rounds.forecast.drift import At
    from rounds.forecast.promises_said import PromisesPage
    from rounds.health import BottleHealth
    from rounds.health.remembering import Remembered
    from rounds.rig import Rig
    from rounds.sessions.session import Session

MOST_LOG_LINES = 300
FOLLOWS_BY_ITSELF = ("sent",)
"""Kinds of events that nobody did: the strike or the air that was asked for has a line of its own."""
PLOT_MIN = tuple(float(m) for m in range(0, 61, 2))
PROMISES_EVERY = 50
"""Events after which the page of promises is made anew."""
MOST_UNKNOWN = 3
"""More bottles than this of which nothing is known yet make one line."""
TOO_LITTLE = "not heard enough yet: leaks take a few hours to show"
_WORST_FIRST: tuple[HealthState, ...] = ("replace", "watch", "good", "unknown")


@dataclass
class Pages:
    """Makes the pages of one session; keeps the histories between them."""

    session: Session
    _known: Remembered | None = None
    _promises: PromisesPage | None = None
    _promises_to: int = 0

    def forecast_paths(self, now_s: float) -> Sequence[DriftPath]:
        """Where each needed bottle is going, the first to leave first."""
        session = self.session
        shift = session.day.shift_cents
        seen = forecast(session.rig, session.beliefs, now_s, PLOT_MIN, shift_cents=shift)
        tolerance = {b.id: b.tolerance_cents for b in session.rig.bottles}
        paths = [
            DriftPath(
                bottle=b.id,
                note=session.rig.bottle(b.id).note.name,
                minutes=tuple(a.minutes for a in b.at),
                cents=tuple(a.cents - shift for a in b.at),
                sd_cents=tuple(a.sd_cents for a in b.at),
                standings=tuple(_ahead(a, shift, tolerance[b.id]) for a in b.at),
                tolerance_cents=tolerance[b.id],
                leaves_min=b.hold_min,
            )
            for b in seen.bottles
            if b.id in session.record.needed and session.beliefs.heard(b.id)
        ]
        return sorted(paths, key=lambda p: 1e9 if p.leaves_min is None else p.leaves_min)

    def log_lines(self) -> Sequence[LogLine]:
        """The newest events, newest first; those of the newest day without their date."""
        from rounds.report.logbook import entries
        from rounds.report.tables import said
        from rounds.times.local import local

        log = self.session.record.log
        after_id = max(0, log.last_id - MOST_LOG_LINES)
        found = list(entries(log.events(after_id), self.session.day.scale, log.taken_back(after_id)))
        newest = local(found[-1].told_s).split(" ")[0] if found else ""
        return [
            LogLine(local(e.told_s).removeprefix(f"{newest} "), e.kind, e.bottle or "", said(e))
            for e in reversed(found)
            if e.kind not in FOLLOWS_BY_ITSELF
        ]

    def promises(self) -> PromisesPage:
        """How far what was promised held; folding a long journal takes a second, so not after every event."""
        from rounds.forecast.promises import promises_of
        from rounds.forecast.promises_said import page

        log = self.session.record.log
        if self._promises is None or log.last_id - self._promises_to >= PROMISES_EVERY:
            gone = log.taken_back(0)
            events = sorted((e for i, e in log.events(0) if i not in gone), key=lambda event: event.at_s)
            self._promises, self._promises_to = page(promises_of(self.session.rig, events)), log.last_id
        return self._promises

    def health_lines(self, now_s: float) -> Sequence[HealthLine]:
        """How each bottle and cap has held, the worst first."""
        from rounds.health import assess
        from rounds.health.remembering import brought_up

        self._known = brought_up(self.session.rig, self.session.record.log, self._known)
        found = assess(self.session.rig, self._known.histories, now_s)
        lines = [_health_line(b, self.session.rig) for b in found]
        unknown = [line for line in lines if line.state == "unknown"]
        if len(unknown) > MOST_UNKNOWN:
            lines = [line for line in lines if line.state != "unknown"]
            lines.append(
                HealthLine(f"{len(unknown)} more" if lines else "all", "", "unknown", TOO_LITTLE, "")
            )
        return sorted(lines, key=lambda line: _WORST_FIRST.index(line.state))


def _ahead(at: At, shift_cents: float, tolerance_cents: float) -> Ahead:
    return ahead(Gauss(at.cents - shift_cents, at.sd_cents), tolerance_cents)


def _health_line(health: BottleHealth, rig: Rig) -> HealthLine:
    state: HealthState = "good" if health.own_leak is not None else "unknown"
    if health.findings:
        state = "replace" if any(f.urgency == "now" for f in health.findings) else "watch"
    known = "not heard enough yet" if health.own_leak is None else ""
    heard = counted(health.readings, "reading")
    figures = ", ".join(filter(None, (known, heard, f"cap {counted(health.cap.connections, 'connection')}")))
    advice = "; ".join(f"{f.what} ({f.evidence})" for f in health.findings)
    return HealthLine(health.id, rig.bottle(health.id).note.name, state, figures, advice)
