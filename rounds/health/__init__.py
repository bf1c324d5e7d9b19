"""What each bottle and cap needs, with the evidence for every finding.

Pure: histories in, findings out. The thresholds below are guesses from common practice,
no source; they say when to look, and a competent person decides.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, get_args

from rounds.air import kpa_to_psi, prior_shell
from rounds.belief.priors import prior_of
from rounds.gauss import Gauss
from rounds.health.first_use import FirstUse, first_use
from rounds.health.histories import AT_PRESSURE_KPA, GaugeRead, Histories, History, Use, fitted_s
from rounds.health.leaks import weigh
from rounds.health.rates import together
from rounds.notes import shifted_hz
from rounds.rig import GROUPS

if TYPE_CHECKING:
    from rounds.belief.pooling import Told
    from rounds.health.leaks import LeakOdds
    from rounds.rig import Bottle, Rig

__all__ = ["BottleHealth", "Finding", "Histories", "assess", "at_the_valve"]

Urgency = Literal["now", "soon", "watch"]
URGENCIES: tuple[Urgency, ...] = get_args(Urgency)

LEAK_LIKELY = 0.3
LEAST_FALLS = 2
"""Nobody is accused before it went flat by itself so often: one reading may be another bottle's."""
LEAK_SURE = 0.9
CAP_STRAIN_HOURS = 36.0
"""A cap at 50 psi for this long may have warped; at 70 psi for a quarter of it."""
CAP_HOURS = 400.0
CAP_CONNECTIONS = 500
CAP_DAYS = 365.0
SOFTER_SHARE = 0.15
"""A bottle that needs this much more air for the same pitch than at first has given way."""

VALVE = "valve core: tighten it or put in another"
SEAL = "seal and glue where the valve sits in the cap: soapy water shows bubbles"
CAP = "cap: put on another, then `rounds replace {} --cap`"
BOTTLE = "bottle: put in another, then `rounds replace {} --bottle`"
CARE = "Let all air out first, cover your eyes, keep your face away from cap and base."


@dataclass(frozen=True)
class Finding:
    """One thing to do about a bottle. `probability`: that it is so, where that can be said."""

    bottle: str
    what: str
    urgency: Urgency
    evidence: str
    at_the_valve: str
    """The same in so few words that they fit into an order."""
    try_in_order: tuple[str, ...] = ()
    probability: float | None = None


@dataclass(frozen=True)
class BottleHealth:
    """One bottle. Leaks in cents per minute near its target, negative is losing air.

    `own_leak` is what its readings alone say, None when they say too little.
    """

    id: str
    group: str
    own_leak: Gauss | None
    group_leak: Gauss
    p_leak: float
    readings: int
    cap: Use
    bottle: Use
    cap_days: float | None
    gauges: tuple[GaugeRead, ...]
    notes: tuple[str, ...]
    findings: tuple[Finding, ...]
    first_use: FirstUse | None = None


def assess(rig: Rig, histories: Histories, now_s: float) -> tuple[BottleHealth, ...]:
    """The health of every bottle, in the rig's order."""
    members = {g: [b for b in rig.bottles if b.group == g] for g in GROUPS}
    members = {g: of for g, of in members.items() if of}
    usual = {g: -prior_of(rig, of[0]).group_leak.mean for g, of in members.items()}
    odds = weigh(usual, {g: {b.id: histories.of[b.id].rates for b in of} for g, of in members.items()})
    return tuple(_health(rig, b, histories.of[b.id], odds[b.group], now_s) for b in rig.bottles)


def _health(rig: Rig, bottle: Bottle, history: History, odds: LeakOdds, now_s: float) -> BottleHealth:
    own, group, p_leak = together(history.rates), odds.group, odds.p_leak[bottle.id]
    days = _cap_days(bottle, history, now_s)
    worn = _cap_findings(bottle, history.cap, days)
    leak = _leak_findings(bottle, history, own, group, p_leak, worn=bool(worn))
    pressure = _pressure_findings(rig, bottle, history)
    new = first_use(history, group)
    return BottleHealth(
        id=bottle.id,
        group=bottle.group,
        own_leak=None if own is None else Gauss(own.mean, own.var**0.5),
        group_leak=group,
        p_leak=p_leak,
        readings=history.readings,
        cap=history.cap,
        bottle=history.bottle,
        cap_days=days,
        gauges=tuple(history.gauges),
        notes=tuple(history.notes),
        findings=(*pressure, *_new_findings(bottle, new), *leak, *worn),
        first_use=new,
    )


def _new_findings(bottle: Bottle, new: FirstUse | None) -> tuple[Finding, ...]:
    """A new part that falls is told at once: what to try is the part itself."""
    if new is None or new.state != "falls":
        return ()
    steps = (VALVE, SEAL, BOTTLE.format(bottle.id))
    return (Finding(bottle.id, "its new part does not hold", "soon", new.words, new.words, steps),)


def at_the_valve(rig: Rig, histories: Histories, now_s: float) -> dict[str, str]:
    """By bottle, what to look at when somebody stands at it, in few words; most bottles have none."""
    urgent = [f for h in assess(rig, histories, now_s) for f in h.findings]
    urgent.sort(key=lambda f: URGENCIES.index(f.urgency), reverse=True)
    return {f.bottle: f.at_the_valve for f in urgent}


def _cap_days(bottle: Bottle, history: History, now_s: float) -> float | None:
    """Days since the cap was fitted: by the journal if it is there, else by the rig."""
    if history.cap.since_s is not None:
        return (now_s - history.cap.since_s) / 86_400.0
    fitted = fitted_s(bottle)
    return None if fitted is None else (now_s - fitted) / 86_400.0


def _leak_findings(
    bottle: Bottle, history: History, own: Told | None, group: Gauss, p_leak: float, *, worn: bool
) -> tuple[Finding, ...]:
    if own is None or p_leak < LEAK_LIKELY or sum(r.falls for r in history.rates) < LEAST_FALLS:
        return ()
    first = [VALVE, CAP, SEAL, BOTTLE] if worn else [VALVE, SEAL, CAP, BOTTLE]
    if history.caps:
        first.remove(CAP)
    since = f", with {history.caps} caps tried on it" if history.caps > 1 else ", with a new cap"
    evidence = (
        f"{own.mean:+.2f} ± {own.var**0.5:.2f} cents a minute over {history.readings} readings, "
        f"its group {group.mean:+.2f} ± {group.sd:.2f}{since if history.caps else ''}"
    )
    sure = p_leak >= LEAK_SURE
    return (
        Finding(
            bottle.id,
            "it leaks" if sure else "it may leak",
            "soon" if sure else "watch",
            evidence,
            f"this cap loses {-own.mean:.1f} cents a minute, its group {-group.mean:.1f}: look at it",
            tuple(step.format(bottle.id) for step in first),
            p_leak,
        ),
    )


def _cap_findings(bottle: Bottle, cap: Use, days: float | None) -> tuple[Finding, ...]:
    reasons = []
    if cap.strain_hours >= CAP_STRAIN_HOURS:
        reasons.append(f"{cap.hot_hours:.0f} hours at {_psi(cap.hot_kpa)}")
    if cap.hours >= CAP_HOURS:
        reasons.append(f"{cap.hours:.0f} hours at pressure")
    if cap.connections >= CAP_CONNECTIONS:
        reasons.append(f"{cap.connections} connections")
    if days is not None and days >= CAP_DAYS:
        reasons.append(f"fitted {days:.0f} days ago")
    if not reasons:
        return ()
    step, words = CAP.format(bottle.id), f"this cap: {reasons[0]}, look at it"
    return (Finding(bottle.id, "its cap is due for replacement", "soon", ", ".join(reasons), words, (step,)),)


def _pressure_findings(rig: Rig, bottle: Bottle, history: History) -> tuple[Finding, ...]:
    found = []
    if history.gauges and history.gauges[-1].gauge_kpa > bottle.ceiling_kpa:
        found.append(
            Finding(
                bottle.id,
                "let air out: it was read above its ceiling",
                "now",
                f"gauge {_psi(history.gauges[-1].gauge_kpa)}, ceiling {_psi(bottle.ceiling_kpa)}",
                f"a gauge read {_psi(history.gauges[-1].gauge_kpa)}, above its ceiling: let air out",
                ("let air out at the valve", "a smaller or stiffer bottle for this note"),
            )
        )
    needs = [g for g in (_at_target(rig, bottle, read) for read in history.gauges) if g is not None]
    if len(needs) >= 2 and needs[-1] > (1.0 + SOFTER_SHARE) * needs[0]:
        found.append(
            Finding(
                bottle.id,
                "it needs more air for its note than at first: look for bulges and white lines",
                "soon",
                f"{_psi(needs[0])} at first, {_psi(needs[-1])} now, both as for its note",
                "it needs more air than at first: look for bulges",
                (BOTTLE.format(bottle.id),),
            )
        )
    return tuple(found)


def _at_target(rig: Rig, bottle: Bottle, read: GaugeRead) -> float | None:
    """The pressure that a gauge reading means for the bottle's own note."""
    if read.cents is None or read.gauge_kpa < AT_PRESSURE_KPA:
        return None
    target_hz = rig.target_hz(bottle.id)
    shell = prior_shell(target_hz, bottle.note.midi)
    return read.gauge_kpa - (shell.gauge_kpa(shifted_hz(target_hz, read.cents)) - shell.gauge_kpa(target_hz))


def _psi(gauge_kpa: float) -> str:
    return f"{kpa_to_psi(gauge_kpa):.0f} psi"
