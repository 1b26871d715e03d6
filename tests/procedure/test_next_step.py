"""What is known so far -> the next step, case by case on a bench of plain numbers: V = H (U + W)."""

from __future__ import annotations

import cmath
import math
from dataclasses import replace

import pytest

from balancer.core.masses import Mass
from balancer.core.pieces import Piece, Stock
from balancer.core.places import Places, Ring, Spots
from balancer.core.runs import Amplitude, Run
from balancer.core.tape import Tape
from balancer.core.vectors import Covariance, UncertainComplex
from balancer.findings import Finding
from balancer.procedure.job import Job, JobRun, Limits, SensorCheck, Stand
from balancer.procedure.next_step import MOST_AS_IS, MOST_CHECKS, MOST_UNUSABLE, next_step
from balancer.procedure.part import Part
from balancer.units import rad_s_from_rpm

SPEED = rad_s_from_rpm(5200.0)
H = 1.2e6 * cmath.exp(0.4j)  # (m/s^2) per kg m: 1.2 m/s^2 per g mm, of the order of a hobby stand
U = 2.0e-6 * cmath.exp(1.0j)  # kg m
SD = 0.01  # m/s^2
TAPE = Tape("test", 0.073, 0.006, weighed=True)
PROPELLER = Part(
    "propeller", 0.040, Places.of_propeller(2, 0.030, 0.130, ring=Ring("hub", 0.018)), grade=2.5e-3
)
# permissible: 0.040 kg x 2.5e-3 m/s / 544.5 rad/s = 0.184 g mm (ISO 21940-11: U_per = m G / w)
NO_HUB = replace(PROPELLER, places=Places.of_propeller(2, 0.030, 0.130))
BELL = Part("bell", 0.025, Places.of_bell(0.018), grade=2.5e-3)
SCREWS = Part(
    "bell", 0.025, Places.of_bell(None, screws=Spots("screw", 0.012, (0.0, 2.1, 4.2))), grade=2.5e-3
)
STOCK = Stock(TAPE)


def fresh(part=PROPELLER, **facts):
    facts = {"speed": SPEED, "stand": Stand("bench", 0.26), "acknowledged": True, **facts}
    return Job(part, STOCK, **{"check": SensorCheck(), **facts})


def reading(unbalance, *, sd=SD, phase=True, gain=H, offset=0j):
    value = gain * unbalance + offset
    return UncertainComplex(value, Covariance.circular(sd**2)) if phase else Amplitude(abs(value), sd)


def spun(job, purpose, *, unbalance=U, off=0.0, findings=(), signs=(), **how):
    """Add a run with what is on now; `off` is a share by which the speed was missed."""
    total = unbalance + sum((mass.unbalance for mass in job.masses), 0j)
    run = Run((reading(total, **how),), job.masses, purpose, SPEED * (1 + off))
    return job.with_run(JobRun(run, "run", tuple(findings), tuple(signs)))


def on(job, *pieces):
    return job.with_fitted(pieces)


def piece(gmm, deg, radius=0.080):
    """A piece of so many g mm, of which only its mass is known."""
    return Piece.of_mass(Mass(gmm * 1e-6 / radius, radius, math.radians(deg)), "there")


TRIAL = piece(2.0, 0)
RIGHT = piece(2.0, math.degrees(1.0) + 180)  # takes all of U away
NEARLY = piece(1.7, math.degrees(1.0) + 180)  # leaves 0.3 g mm
BAD = Finding.of("marks_unreliable", "error", percent=40.0)
SIGN = Finding.of("a_sign", "error")
HINT = Finding.of("a_hint", "warning")
KNOWN = (UncertainComplex(H, Covariance.circular((0.02 * abs(H)) ** 2)),)


def pair(job=None, **how):
    job = fresh() if job is None else job
    return spun(spun(job, "as-is", **how), "as-is", **how)


def tried(job=None, trial=TRIAL, **how):
    return spun(on(pair(job, **how), trial), "trial", **how)


def checked(what=RIGHT, job=None, **how):
    return spun(on(tried(job, **how), what), "check", **how)


def turned(count, job=None, size=2.0, **how):
    """As-is run and `count` trial runs without phase, at 30, 150 and 270 degrees."""
    job = spun(fresh() if job is None else job, "as-is", phase=False, **how)
    for number in range(count):
        job = spun(on(job, piece(size, 30 + 120 * number)), "trial", phase=False, **how)
    return job


def unusable(count, job=None):
    job = fresh() if job is None else job
    for _ in range(count):
        job = spun(job, "as-is", findings=(BAD,))
    return job


def apart(*factors):
    job = fresh()
    for factor in factors:
        job = spun(job, "as-is", unbalance=U * factor)
    return job


GAIN = 1.6 * cmath.exp(-0.7j) * H


def moved():
    """Two check runs on a stand that was moved, the runs before set aside."""
    job = spun(spun(on(tried(), piece(1.2, 237)), "check", gain=GAIN), "check", gain=GAIN)
    for number in (1, 2, 3):
        job = job.set_aside(number, "the stand was moved")
    return job


CASES = {
    # before anything turns
    "nothing known": (fresh(acknowledged=False, check=None), "acknowledge", "", "cautions_first"),
    "cautions come before the bell": (
        fresh(acknowledged=False, below="unbalanced"),
        "acknowledge",
        "",
        "cautions_first",
    ),
    "cautions come before everything, also in mid-job": (
        replace(tried(), acknowledged=False),
        "acknowledge",
        "",
        "cautions_first",
    ),
    "the bell first": (fresh(below="unbalanced"), "balance-bell", "", "bell_first"),
    "the bell left as it is": (fresh(below="accepted"), "spin", "as-is", "as_is_run"),
    "a bare bell has none below": (fresh(BELL, below="unbalanced"), "spin", "as-is", "as_is_run"),
    "no bell question once there are runs": (pair(fresh(below="unbalanced")), "fit", "trial", "trial_next"),
    "sensor not checked": (fresh(check=None), "check-sensor", "", "sensor_unchecked"),
    "sensor check failed": (fresh(check=SensorCheck((BAD,))), "check-sensor", "", "sensor_check_failed"),
    "sensor check with a warning": (fresh(check=SensorCheck((HINT,))), "spin", "as-is", "as_is_run"),
    "sensor check skipped": (fresh(check=SensorCheck(skipped=True)), "spin", "as-is", "as_is_run"),
    "sensor check not asked once there are runs": (
        spun(fresh(check=None), "as-is"),
        "spin",
        "as-is",
        "as_is_again",
    ),
    # as-is runs
    "first as-is run": (fresh(), "spin", "as-is", "as_is_run"),
    "pieces on before the first run": (on(fresh(), TRIAL), "fit", "take-off", "as_is_first"),
    "second as-is run": (spun(fresh(), "as-is"), "spin", "as-is", "as_is_again"),
    "pieces on before the second": (on(spun(fresh(), "as-is"), TRIAL), "fit", "take-off", "as_is_first"),
    "two that agree": (pair(), "fit", "trial", "trial_next"),
    "two 9 % apart agree": (apart(1, 1.09), "fit", "trial", "trial_next"),
    "two 20 % apart": (apart(1, 1.2), "spin", "as-is", "as_is_apart"),
    "two 30 deg apart": (apart(1, cmath.exp(0.52j)), "spin", "as-is", "as_is_apart"),
    "third agrees with the second": (apart(1, 1.3, 1.31), "fit", "trial", "trial_next"),
    "third agrees with the first": (apart(1, 1.3, 1.01), "fit", "trial", "trial_next"),
    "three apart": (apart(1, 1.3, 1.7), "spin", "as-is", "as_is_apart"),
    "four apart": (apart(1, 1.3, 1.7, 2.2), "stop", "", "as_is_never_agree"),
    "noise explains the difference": (
        spun(spun(fresh(), "as-is", sd=0.3), "as-is", sd=0.3, offset=0.5 + 0j),
        "fit",
        "trial",
        "trial_next",
    ),
    "one set aside": (pair().set_aside(1, "the door slammed"), "spin", "as-is", "as_is_again"),
    "both set aside": (pair().set_aside(1, "x").set_aside(2, "x"), "spin", "as-is", "as_is_run"),
    "taken back": (pair().set_aside(1, "x").taken_back(1), "fit", "trial", "trial_next"),
    "1x below the noise": (pair(sd=2.0), "done", "", "nothing_to_see"),
    "1x below the noise without phase": (
        spun(fresh(), "as-is", phase=False, sd=2.0),
        "done",
        "",
        "nothing_to_see",
    ),
    # runs that cannot be used
    "unusable recording": (unusable(1), "spin", "as-is", "run_unusable"),
    "two unusable": (unusable(2), "spin", "as-is", "run_unusable"),
    "three unusable": (unusable(MOST_UNUSABLE), "stop", "", "recordings_unusable"),
    "three unusable, one set aside": (
        unusable(3).set_aside(2, "wrong file"),
        "spin",
        "as-is",
        "run_unusable",
    ),
    "usable after two": (spun(unusable(2), "as-is"), "spin", "as-is", "as_is_again"),
    "off the speed": (spun(fresh(), "as-is", off=0.05), "spin", "as-is", "run_off_speed"),
    "a little off the speed": (spun(fresh(), "as-is", off=0.01), "spin", "as-is", "as_is_again"),
    "no speed asked for: the first run's": (
        spun(spun(fresh(speed=None), "as-is", off=0.05), "as-is", off=0.05),
        "fit",
        "trial",
        "trial_next",
    ),
    "second run at another speed": (
        spun(spun(fresh(speed=None), "as-is"), "as-is", off=0.05),
        "spin",
        "as-is",
        "run_off_speed",
    ),
    "phase lost": (spun(spun(fresh(), "as-is"), "as-is", phase=False), "spin", "as-is", "run_without_phase"),
    "phase found": (spun(spun(fresh(), "as-is", phase=False), "as-is"), "spin", "as-is", "run_with_phase"),
    "unusable trial": (
        spun(on(pair(), TRIAL), "trial", findings=(BAD,)),
        "spin",
        "trial",
        "run_unusable",
    ),
    "unusable check": (
        spun(on(tried(), RIGHT), "check", findings=(BAD,)),
        "spin",
        "check",
        "run_unusable",
    ),
    # not unbalance
    "a serious sign in both as-is runs": (pair(signs=(SIGN,)), "stop", "", "not_unbalance"),
    "a serious sign in one of them": (
        spun(spun(fresh(), "as-is", signs=(SIGN,)), "as-is"),
        "fit",
        "trial",
        "trial_next",
    ),
    "a mild sign in both": (pair(signs=(HINT,)), "fit", "trial", "trial_next"),
    # trial
    "trial on, not spun": (on(pair(), TRIAL), "spin", "trial", "trial_run"),
    "another piece on than advised": (on(pair(), piece(1.1, 77)), "spin", "trial", "trial_run"),
    "trial spun": (tried(), "fit", "correction", "correction_next"),
    "trial set aside": (tried().set_aside(3, "tape came off"), "spin", "trial", "trial_run"),
    "trial set aside and taken off": (on(tried().set_aside(3, "x")), "fit", "trial", "trial_next"),
    "trial much too small": (tried(trial=piece(0.02, 0)), "fit", "trial", "trial_larger"),
    "larger trial on": (on(tried(trial=piece(0.02, 0)), TRIAL), "spin", "trial", "trial_run"),
    "larger trial spun": (
        spun(on(tried(trial=piece(0.02, 0)), TRIAL), "trial"),
        "fit",
        "correction",
        "correction_next",
    ),
    "as-is already past the limit": (
        pair(fresh(limits=Limits(vibration=1.0))),
        "stop",
        "",
        "as_is_past_limit",
    ),
    "good as it came": (tried(unbalance=0.1e-6, trial=piece(0.3, 0)), "fit", "take-off", "nothing_needed"),
    "good as it came, trial off": (
        on(tried(unbalance=0.1e-6, trial=piece(0.3, 0))),
        "done",
        "",
        "residual_inside",
    ),
    "the trial was the correction": (tried(trial=RIGHT), "done", "", "residual_inside"),
    # a stored coefficient stands in for the trial
    "one run suffices": (spun(fresh(known=KNOWN), "as-is"), "fit", "correction", "correction_next"),
    "coefficient, correction on": (
        on(spun(fresh(known=KNOWN), "as-is"), RIGHT),
        "spin",
        "check",
        "check_run",
    ),
    "coefficient, checked": (
        spun(on(spun(fresh(known=KNOWN), "as-is"), RIGHT), "check"),
        "done",
        "",
        "residual_inside",
    ),
    "coefficient, good as it came": (
        spun(fresh(known=KNOWN), "as-is", unbalance=0.1e-6),
        "done",
        "",
        "residual_inside",
    ),
    # correction, check, trim
    "correction on": (on(tried(), RIGHT), "spin", "check", "check_run"),
    "correction right": (checked(), "done", "", "residual_inside"),
    "correction not enough": (checked(NEARLY), "fit", "trim", "trim_next"),
    "trim on": (on(checked(NEARLY), RIGHT), "spin", "check", "check_run"),
    "trim right": (spun(on(checked(NEARLY), RIGHT), "check"), "done", "", "residual_inside"),
    "check set aside": (checked().set_aside(4, "clamp was open"), "spin", "check", "check_run"),
    "bench cannot see less": (checked(piece(1.75, 237), sd=0.2), "done", "", "residual_bench_limit"),
    "a milder grade is the person's choice": (
        replace(checked(NEARLY), part=replace(PROPELLER, grade=6.3e-3)),
        "done",
        "",
        "residual_inside",
    ),
    "blades only, the rest lies across": (
        spun(on(tried(fresh(NO_HUB)), piece(2.0 * math.cos(1.0), 180)), "check"),
        "stop",
        "",
        "pieces_too_coarse",
    ),
    "a bell": (checked(job=fresh(BELL)), "done", "", "residual_inside"),
    # runs that contradict each other
    "a piece came off before the check": (
        spun(on(tried(), piece(1.2, 200), piece(1.2, 275)), "check", unbalance=U - piece(1.2, 275).unbalance),
        "set-aside",
        "",
        "piece_off",
    ),
    "pieces laid the other way round": (
        spun(on(tried(), RIGHT), "check", unbalance=U - RIGHT.unbalance + RIGHT.unbalance.conjugate()),
        "set-aside",
        "",
        "angles_mirrored",
    ),
    "a check that does not fit": (
        spun(on(tried(), RIGHT), "check", gain=2.0 * H, offset=3j),
        "spin",
        "check",
        "change_unclear",
    ),
    "stand moved or trial wrong: two checks do not tell": (
        spun(spun(on(tried(), piece(1.2, 237)), "check", gain=GAIN), "check", gain=GAIN),
        "fit",
        "trim",
        "trim_next",
    ),
    "a third with other pieces tells": (
        spun(
            on(
                spun(spun(on(tried(), piece(1.2, 237)), "check", gain=GAIN), "check", gain=GAIN),
                piece(2, 200),
            ),
            "check",
            gain=GAIN,
        ),
        "set-aside",
        "",
        "influence_changed_on_the_way",
    ),
    "earlier runs set aside": (
        moved(),
        "fit",
        "take-off",
        "as_is_first",
    ),
    "as found on the moved stand": (
        spun(on(moved()), "as-is", gain=GAIN),
        "fit",
        "trim",
        "trim_next",
    ),
    # without phase
    "without phase one as-is run": (turned(0), "fit", "trial", "trial_next_of_several"),
    "first place spun": (turned(1), "fit", "trial", "trial_next_of_several"),
    "second place spun": (turned(2), "fit", "trial", "trial_next_of_several"),
    "third place on": (on(turned(2), piece(2.0, 240)), "spin", "trial", "trial_run"),
    "three places spun": (turned(3), "fit", "correction", "correction_next"),
    "correction on without phase": (on(turned(3), RIGHT), "spin", "check", "check_run"),
    "correction right without phase": (
        spun(on(turned(3), RIGHT), "check", phase=False),
        "done",
        "",
        "residual_inside",
    ),
    "a place set aside": (turned(3).set_aside(3, "wrong place"), "fit", "trial", "trial_next_of_several"),
}


@pytest.mark.parametrize("name", CASES)
def test_next_step(name):
    job, action, purpose, code = CASES[name]
    step = next_step(job)
    assert (step.action, step.purpose, step.why.code) == (action, purpose, code)


def test_there_are_sixty_cases_and_more():
    assert len(CASES) >= 60


def drifting(job, count):
    """Check runs that never get better: something else than the pieces decides."""
    for number in range(count):
        job = spun(on(job, piece(2.0, 237 + 5 * number)), "check", offset=1.5 * cmath.exp(2j * number))
    return job


def test_a_job_that_does_not_converge_ends():
    job = drifting(tried(), MOST_CHECKS)
    while (step := next_step(job)).action == "set-aside":
        for number in step.runs:
            job = job.set_aside(number, "named")
    assert step.ends or step.action == "spin"


def test_as_is_runs_are_asked_for_a_limited_number_of_times():
    assert next_step(apart(*(1 + 0.4 * k for k in range(MOST_AS_IS)))).action == "stop"


def test_next_step_only_depends_on_the_job():
    job = checked(NEARLY)
    assert next_step(job) == next_step(replace(job))
