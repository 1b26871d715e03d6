"""A finite-element rotor as an outside answer key: tests/data/fe_rotor (see its README for how it was made).

Its rotor has two unequal supports, so the two axes answer differently; its phases are LEADS and its unbalance
angles count with the rotation. A lead becomes our lag, and such an angle ours, by changing the sign: every
complex number of the table is conjugated. It prints six digits, phases to 0.0005 deg or better: two printed
numbers agree within 2e-5.
"""

import cmath
import csv
import math
from itertools import groupby
from pathlib import Path

import pytest

from balancer.core.influence import solve_influence
from balancer.core.masses import Mass
from balancer.core.runs import Run
from balancer.core.vectors import Covariance, OrderVector
from balancer.units import kgm_from_gmm, rad_s_from_rpm

TABLE = Path(__file__).parents[1] / "data" / "fe_rotor" / "unbalance_response.csv"
DIGITS = 2e-5
EXACT = Covariance(0.0, 0.0)


def lag(size, lead_degrees):
    return cmath.rect(size, -math.radians(lead_degrees))


def read_table():
    """Acceleration and displacement by (unbalance g mm, its angle), rpm and place."""
    table = {}
    with TABLE.open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            case = (float(row["unbalance_gmm"]), float(row["unbalance_angle_deg"]))
            place = f"{row['point']} {row['axis']}"
            speed = rad_s_from_rpm(float(row["rpm"]))
            acceleration = OrderVector(
                value=lag(float(row["acc_ms2_pk"]), float(row["acc_phase_deg"])),
                covariance=EXACT,
                channel=place,
                unit="m/s^2",
                order=1,
                speed=speed,
                revolutions=math.inf,
            )
            displacement = lag(float(row["disp_um_pk"]) * 1e-6, float(row["disp_phase_deg"]))
            table[case, int(row["rpm"]), place] = (acceleration, displacement)
    return table


ROWS = read_table()
CASES = sorted({case for case, _, _ in ROWS})
SPOTS = sorted({(rpm, place) for _, rpm, place in ROWS})


def acceleration(case, spot):
    return ROWS[(case, *spot)][0]


def unbalance(case):
    """In kg m, angle against the rotation."""
    return lag(kgm_from_gmm(case[0]), case[1])


def test_the_table_is_complete():
    assert CASES == [(0.5, 0.0), (1.0, 0.0), (1.0, 90.0), (2.0, 0.0)]
    assert len(SPOTS) == 9 * 6
    assert len(ROWS) == len(CASES) * len(SPOTS)


@pytest.mark.parametrize("case", CASES, ids=str)
def test_acceleration_becomes_the_displacement(case):
    for spot in SPOTS:
        measured, moved = ROWS[(case, *spot)]
        assert measured.as_displacement().value == pytest.approx(moved, rel=DIGITS), spot


@pytest.mark.parametrize("case", CASES, ids=str)
def test_velocity_lies_between(case):
    for spot in SPOTS:
        measured, moved = ROWS[(case, *spot)]
        # the derivative of the displacement, whose lag is a quarter turn smaller
        assert measured.as_velocity().value == pytest.approx(-1j * measured.speed * moved, rel=DIGITS), spot


@pytest.mark.parametrize("case", CASES, ids=str)
def test_response_is_linear_in_the_complex_unbalance(case):
    """One influence coefficient serves all cases, that at 90 deg with a phase turned by 90 deg too."""
    for spot in SPOTS:
        coefficient = acceleration((1.0, 0.0), spot).value / unbalance((1.0, 0.0))
        assert acceleration(case, spot).value == pytest.approx(coefficient * unbalance(case), rel=DIGITS), (
            spot
        )


def test_an_unbalance_a_quarter_turn_on_turns_the_phase():
    for spot in SPOTS:
        start, turned = acceleration((1.0, 0.0), spot), acceleration((1.0, 90.0), spot)
        # with the rotation is 90 deg of lead: the lag becomes smaller
        assert cmath.phase(turned.value / start.value) == pytest.approx(-math.pi / 2, abs=DIGITS), spot


def runs_of(as_is, with_trial, spots):
    """The as-is rotor and the same with what makes it the other: a mass at 60 mm."""
    added = Mass.of_unbalance(unbalance(with_trial) - unbalance(as_is), 0.060)
    return [
        Run(tuple(acceleration(as_is, spot) for spot in spots)),
        Run(tuple(acceleration(with_trial, spot) for spot in spots), (added,)),
    ]


PAIRS = [((0.5, 0.0), other) for other in ((1.0, 0.0), (1.0, 90.0), (2.0, 0.0))] + [((1.0, 90.0), (2.0, 0.0))]


def tolerance(as_is, with_trial):
    """Digits lost by taking the difference of two printed vectors."""
    added = abs(unbalance(with_trial) - unbalance(as_is))
    return DIGITS * (1 + (abs(unbalance(with_trial)) + abs(unbalance(as_is))) / added)


@pytest.mark.parametrize(("as_is", "with_trial"), PAIRS, ids=str)
def test_unbalance_is_recovered_at_every_point_and_speed(as_is, with_trial):
    for spot in SPOTS:
        answer = solve_influence(runs_of(as_is, with_trial, [spot]))
        assert answer.correction.value == pytest.approx(
            -unbalance(as_is), rel=tolerance(as_is, with_trial)
        ), spot


@pytest.mark.parametrize(("as_is", "with_trial"), PAIRS, ids=str)
def test_unbalance_is_recovered_from_all_points_together(as_is, with_trial):
    for _, group in groupby(SPOTS, key=lambda spot: spot[0]):
        spots = list(group)
        assert len(spots) == 6
        answer = solve_influence(runs_of(as_is, with_trial, spots))
        assert answer.correction.value == pytest.approx(-unbalance(as_is), rel=tolerance(as_is, with_trial))
        assert not any(finding.code == "channel_left_over" for finding in answer.findings)


def test_three_runs_fit_one_line():
    for spot in SPOTS:
        runs = runs_of((0.5, 0.0), (1.0, 90.0), [spot]) + runs_of((0.5, 0.0), (2.0, 0.0), [spot])[1:]
        answer = solve_influence(runs)
        assert answer.correction.value == pytest.approx(-unbalance((0.5, 0.0)), rel=4 * DIGITS), spot
        assert answer.consistency < DIGITS, spot
