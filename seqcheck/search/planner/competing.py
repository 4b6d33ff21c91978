"""Sets up contests between engines in processes of their own, and says what is known where none came to the end."""

from collections.abc import Sequence

from msgspec.structs import replace

from seqcheck.search.engine import Exploration, Limits, Stop, Unfit
from seqcheck.search.limits import Allowance
from seqcheck.search.planner.contest import Contest
from seqcheck.search.planner.job import Entry, Fate, Job, NoAnswerError, ask
from seqcheck.search.planner.reasons import furthest, nothing, told
from seqcheck.search.planner.trial import Trial

UNDER_TIME_S = 0.03
"""An engine that has not stopped on its own is ended so long before the time is over: a process takes a moment to be gone."""

OVER_MEMORY = 1.06
"""An engine that has not stopped at the limit on memory on its own is ended at so much of it."""

BEFORE_TRIAL_S = 0.5
"""How long the first engine has to itself where the machine is likely to be large."""


def contest_of(job: Job, entries: Sequence[Entry]) -> Contest:
    """Return a contest that ends engines which do not keep the limits on their own."""
    limits = job.limits
    slack = Limits(
        seconds=None if limits.seconds is None else max(0.0, limits.seconds - UNDER_TIME_S),
        memory_mb=None if limits.memory_mb is None else limits.memory_mb * OVER_MEMORY,
    )
    return Contest(job=job, entries=entries, allowance=Allowance(slack))


def only(job: Job, name: str) -> Exploration:
    """Ask one engine, in a process of its own. Raises `Unfit` and `NoAnswerError`."""
    contest = contest_of(job, [Entry(engine=name, after_s=0.0, needs_mb=0.0)])
    answer = run(contest)
    contest.close()
    if answer is not None:
        return answer
    fate, why = contest.fates[name]
    if fate is Fate.UNFIT:
        raise Unfit(why)
    return replace(cut_short(job, contest, nothing(job.model, name, Stop.MEMORY)), reason="")


def compete(trial: Trial, *, on_trial: bool) -> Exploration:
    """Let the engines compete, `plain` joining them *on_trial* if they take a while. Raises `NoAnswerError`."""
    contest = trial.begin_contest()
    answer = run(contest, BEFORE_TRIAL_S if on_trial else float("inf"))
    if on_trial and answer is None and contest.is_going_on:
        return after_trial(trial, trial.run())
    return conclude(trial.job, contest, answer, nothing(trial.job.model, trial.entries[0].engine, Stop.MEMORY))


def after_trial(trial: Trial, found: Exploration) -> Exploration:
    """Return what was *found* on trial, or by the others, who go on if that settles nothing. Raises `NoAnswerError`."""
    contest = trial.contest or trial.begin_contest()
    return conclude(trial.job, contest, found if trial.settles(found) else run(contest), found)


def conclude(job: Job, contest: Contest, answer: Exploration | None, tried: Exploration) -> Exploration:
    """Return an answer with its reason; if there is none, what `plain` can still do, or else what is known."""
    contest.close()
    if answer is not None:
        return replace(answer, reason=told(job.model, contest.fates))
    if plain_may_go_on(job, contest):
        left = replace(job.limits, seconds=None if job.limits.seconds is None else contest.seconds_left)
        return ask(replace(job, limits=left), "plain", told(job.model, contest.fates))
    return cut_short(job, contest, tried)


def plain_may_go_on(job: Job, contest: Contest) -> bool:
    """Tell whether `plain` may still do what others could not: they were unfit, broke off, or took too much memory."""
    fates = {fate for fate, _ in contest.fates.values()}
    if contest.stopped is not None or contest.partial or Fate.DIED in fates:
        return False
    return Fate.STOPPED not in fates or job.limits.memory_mb is not None


def run(contest: Contest, most_s: float = float("inf")) -> Exploration | None:
    """Run a contest, for so long at most; if that is broken off every process is gone then."""
    try:
        with contest.allowance:
            return contest.run(most_s)
    except BaseException:
        contest.close()
        raise


def cut_short(job: Job, contest: Contest, tried: Exploration) -> Exploration:
    """Return what is known where no engine came to the end. Raises `NoAnswerError` if that is for no limit."""
    if contest.stopped is None and all(fate is not Fate.STOPPED for fate, _ in contest.fates.values()):
        raise NoAnswerError(told(job.model, contest.fates))
    stopped = contest.stopped or Stop.MEMORY
    return replace(furthest([*contest.partial, tried], stopped), reason=told(job.model, contest.fates))
