"""The noise floor of 1x: against least squares of numpy on white noise, and from what the runs leave open."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from balancer.core.pieces import Stock
from balancer.core.places import Places
from balancer.core.runs import Amplitude, Run
from balancer.core.tape import usual_tape
from balancer.core.vectors import SDS_95, Covariance, UncertainComplex
from balancer.findings import Finding
from balancer.procedure.coefficients import SetUp
from balancer.procedure.facts import Facts
from balancer.procedure.job import Job, JobRun, SensorCheck
from balancer.procedure.noise_floor import TURNS, floor_at_rest, noise_floor
from balancer.procedure.part import Part
from balancer.units import G_STANDARD

SPEED = 2 * math.pi * 80.0  # 5 s for 400 turns
JOB = Job(Part("bell", 0.025, Places.of_bell(0.018)), Stock(usual_tape("aluminium", 0.01)), speed=SPEED)


def test_noise_alone_exceeds_the_floor_in_5_of_100_fits():
    rng = np.random.default_rng(1)
    rate, duration, density = 400.0, 5.0, 0.003
    times = np.arange(0.0, duration, 1 / rate)
    design = np.stack((np.cos(SPEED * times), np.sin(SPEED * times)), axis=1)
    # white noise of a one-sided density n has the variance n^2 rate / 2
    noise = rng.normal(0.0, density * math.sqrt(rate / 2), (times.size, 4000))
    found = np.hypot(*np.linalg.lstsq(design, noise, rcond=None)[0])
    # 200 of 4000 are expected, with a standard deviation of 13.8
    assert np.count_nonzero(found > floor_at_rest(density, duration)) == pytest.approx(200, abs=45)


def checked(job):
    findings = tuple(
        Finding.of("noise_usual", "info", channel=name, density_ug=ug, low_ug=1.0, high_ug=1.0)
        for name, ug in (("x", 290.0), ("z", 430.0))
    )
    set_up = SetUp("bench", ("x", "y", "z"))
    return replace(job, check=SensorCheck(findings), set_up=set_up)


def with_run(job, *readings):
    return job.with_run(JobRun(Run(readings, (), "as-is", SPEED)))


def vector(sd):
    return UncertainComplex(1.0 + 0j, Covariance(sd**2, sd**2 / 4))


def floor(job, channel):
    return noise_floor(job, Facts(job).counted, channel)


def test_the_check_at_rest_comes_first_and_the_surest_run_stands_in_for_it():
    job = checked(with_run(with_run(JOB, *[vector(0.02)] * 3), *[vector(0.01)] * 3))
    at_rest = floor(job, 2)
    assert at_rest.known_from == "rest"
    assert at_rest.amplitude == pytest.approx(floor_at_rest(430e-6 * G_STANDARD, TURNS * 2 * math.pi / SPEED))
    of_runs = floor(job, 1)  # the check said nothing of y
    assert of_runs.known_from == "runs"
    assert of_runs.amplitude == pytest.approx(SDS_95 * 0.01)
    assert floor(replace(job, check=SensorCheck(skipped=True)), 2).known_from == "runs"


def test_readings_without_phase_tell_no_floor():
    assert floor(with_run(JOB, Amplitude(1.0, 0.1)), 0) is None
    assert floor(JOB, 0) is None
