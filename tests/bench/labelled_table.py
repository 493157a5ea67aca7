"""What a set of labelled runs amounts to: per fault, over all, and on quiet weeks."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable
from statistics import median
from typing import NamedTuple

from labelled_cast import BAND, CASES, DRIFT, Case
from labelled_run import Outcome, Told

from chamberwatch.model import MS_PER_H, MS_PER_MIN

WEEK_H = 168.0
LEAD_PART = 0.8
SLOW_H = 3.0
"""A fault is slow if its air takes so long from its usual to the band's edge: what is faster no trend can lead."""
BY_NAME = {case.name: case for case in CASES}


def raised(run: Outcome) -> list[Told]:
    """Return what was told anew: alarms raised and one-off facts."""
    return [t for t in run.told if t.state in ("active", "noted")]


def first(run: Outcome, kinds: Iterable[str]) -> Told | None:
    """Return the first of these kinds told after the onset."""
    return next((t for t in raised(run) if t.kind in kinds and t.at_ms >= run.onset_ms), None)


def wrong(run: Outcome, case: Case | None) -> list[Told]:
    """Return what nothing in the run justifies."""
    fits = case.must | case.may if case is not None else frozenset()
    return [t for t in raised(run) if t.kind not in fits or t.at_ms < run.stir_ms]


def causes(run: Outcome) -> int:
    """Return how many first causes were told from the onset on."""
    return sum(not t.because for t in raised(run) if t.at_ms >= run.onset_ms)


def lead_h(run: Outcome) -> float | None:
    """Return by how much a drift came before the band alarm [h]; None if there was no band alarm."""
    band, drift = first(run, BAND), first(run, DRIFT)
    if band is None:
        return None
    return (band.at_ms - drift.at_ms) / MS_PER_H if drift is not None else -1.0


def report(runs: list[Outcome], quiet: list[Outcome]) -> Iterable[str]:
    """Yield the table's lines."""
    by_case: dict[str, list[Outcome]] = defaultdict(list)
    for run in runs:
        by_case[run.case].append(run)
    yield f"{'fault':26} {'told':>7} {'late':>4} {'median':>7} {'worst':>7} min  {'1 cause':>7} {'wrong':>5}  first told as; wrong"
    for name, group in by_case.items():
        yield _row(BY_NAME[name], group)
    yield ""
    yield from _overall(runs)
    yield from _quiet(quiet)
    yield ""
    for goal in goals(runs, quiet):
        yield f"{goal.what:36} {goal.measured:>20}  wanted {goal.wanted:8} {'met' if goal.met else 'NOT MET'}"


def _row(case: Case, group: list[Outcome]) -> str:
    firsts = [first(r, case.must) for r in group]
    delays = [(t.at_ms - r.onset_ms) / MS_PER_MIN for t, r in zip(firsts, group, strict=True) if t is not None]
    due = [(r, t) for r, t in zip(group, firsts, strict=True) if r.due_ms is not None]
    told = sum(t is not None and t.at_ms <= (r.due_ms or 0) for r, t in due)
    late = sum(t is not None and t.at_ms > (r.due_ms or 0) for r, t in due)
    one = sum(1 <= causes(r) <= case.causes for r in group)
    bad = [t for r in group for t in wrong(r, case)]
    kinds = Counter(t.kind for t in firsts if t is not None)
    middle, worst = (f"{median(delays):7.1f}", f"{max(delays):7.1f}") if delays else ("      -", "      -")
    shown = ", ".join(f"{k} {n}" for k, n in kinds.most_common())
    wrongs = ", ".join(f"{k} {n}" for k, n in Counter(t.kind for t in bad).most_common())
    share = f"{told}/{len(due)}" if case.must else "-"
    ones = f"{one}/{len(group)}" if case.must else f"({sum(causes(r) == 0 for r in group)}/{len(group)})"
    return f"{case.name:26} {share:>7} {late or '':>4} {middle} {worst}      {ones:>7} {len(bad) or '':>5}  {shown}" + (f"; WRONG {wrongs}" if wrongs else "")


def _overall(runs: list[Outcome]) -> Iterable[str]:
    hours = sum(r.end_ms - r.start_ms for r in runs) / MS_PER_H
    bad = sum(len(wrong(r, BY_NAME[r.case])) for r in runs)
    if hours:
        yield f"wrong alarms in {hours:.0f} h of fault runs: {bad} = {bad / hours * WEEK_H:.2f} a chamber-week"


def _quiet(quiet: list[Outcome]) -> Iterable[str]:
    if not quiet:
        return
    alarms = [(r, t) for r in quiet for t in raised(r)]
    weeks = sum(r.end_ms - r.start_ms for r in quiet) / MS_PER_H / WEEK_H
    yield f"quiet: {len(quiet)} runs, {weeks:.1f} chamber-weeks, {len(alarms)} alarms"
    for kind, n in Counter(t.kind for _, t in alarms).most_common():
        where = [f"{r.case[6:]}/{r.plant[:3]}/{r.seed}@{(t.at_ms - r.start_ms) / MS_PER_H:.1f}h" for r, t in alarms if t.kind == kind]
        yield f"  {kind} {n}: {' '.join(where[:14])}"


class Goal(NamedTuple):
    """One number to reach: what, as measured, as wanted, whether it is met."""

    what: str
    measured: str
    wanted: str
    met: bool


def goals(runs: list[Outcome], quiet: list[Outcome]) -> Iterable[Goal]:
    """Yield the numbers of these runs that say anything, held against what is wanted."""
    due = [(r, first(r, BY_NAME[r.case].must)) for r in runs if r.due_ms is not None]
    if due:
        told = sum(t is not None and t.at_ms <= (r.due_ms or 0) for r, t in due)
        one = sum(1 <= causes(r) <= BY_NAME[r.case].causes for r, _ in due)
        yield Goal("faults told in their window", _share(told, len(due)), "100 %", told == len(due))
        yield Goal("told as one first cause", _share(one, len(due)), "100 %", one == len(due))
    leads = [lead for r in runs if (r.slow_h or 0.0) >= SLOW_H and (lead := lead_h(r)) is not None]
    if leads:
        before = [lead for lead in leads if lead > 0]
        lead = median(before) if before else 0.0
        part = len(before) / len(leads)
        yield Goal("slow faults: drift before the band", _share(len(before), len(leads)), ">= 80 %", part >= LEAD_PART)
        yield Goal("  by, median", f"{lead:.1f} h", ">= 1 h", lead >= 1.0)
    if quiet:
        alarms = sum(len(raised(r)) for r in quiet)
        weeks = sum(r.end_ms - r.start_ms for r in quiet) / MS_PER_H / WEEK_H
        yield Goal(f"alarms in {weeks:.0f} quiet chamber-weeks", str(alarms), "0", alarms == 0)


def _share(part: int, whole: int) -> str:
    return f"{part} of {whole} = {part / whole:.1%}"
