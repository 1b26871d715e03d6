"""Measured 1x vectors with known added masses: 0, 10 and 20 g on a motor-driven rotor at 15 to 60 rev/s.

Source: `data/data.csv` of the public repository rennertz/PG-DefeitosRotores (UFES, MIT licence), derived from
the MaFaulDa recordings (SMT/UFRJ). It stays in ../shared/data, with a README that says how far to trust it:
one record per mass and speed, an unwindowed transform upstream (an amplitude may be low by up to a third). So
medians over the speeds are judged, not rows; radial and tangential at the inner bearing follow the mass.
"""

import cmath
import csv
import math
import statistics
from pathlib import Path

import pytest

from balancer.core.influence import solve_influence
from balancer.core.masses import Mass
from balancer.core.runs import Run
from balancer.core.vectors import Covariance, UncertainComplex

TABLE = Path(__file__).parents[3] / "shared" / "data" / "real_1x_vectors" / "vectors_0_10_20_g.csv"
CHANNELS = ("rad1", "tg1")
SAME_SPEED = 0.35  # rev/s
RADIUS = 1.0  # neither radius nor angle of the masses is known: one place for all

pytestmark = pytest.mark.skipif(
    not TABLE.exists(), reason="the measured vectors of ../shared/data are not on this machine"
)


def read_rows():
    """Lag vectors of the channels by added mass in g: (speed, vectors)."""
    rows = {0.0: [], 10.0: [], 20.0: []}
    with TABLE.open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            vectors = tuple(
                # half the peak is given, and its phase is a lead
                cmath.rect(2 * float(row[f"{name}_1h"]), -float(row[f"{name}_phase"]))
                for name in CHANNELS
            )
            rows[float(row["severidade"])].append((float(row["rotacao_calc"]), vectors))
    return rows


def run(vectors, grams):
    readings = tuple(UncertainComplex(v, Covariance.circular(1e-6)) for v in vectors)
    return Run(readings, (Mass(grams, RADIUS, 0.0),) if grams else ())


def nearest(rows, speed):
    found = min(rows, key=lambda row: abs(row[0] - speed))
    return found if abs(found[0] - speed) <= SAME_SPEED else None


@pytest.fixture(scope="module")
def weighed():
    """What the 10 g rows weigh by the influence coefficient of the 0 and 20 g rows.

    Every as-is row serves once, with the rows nearest in speed: walked from the 10 g rows, some as-is rows
    would count twice, and the median would be 11.0 g.
    """
    rows = read_rows()
    found = []
    for speed, bare in rows[0.0]:
        middle, heavy = nearest(rows[10.0], speed), nearest(rows[20.0], speed)
        if not 15 <= speed <= 60 or middle is None or heavy is None:
            continue
        answer = solve_influence([run(bare, 0.0), run(heavy[1], 20.0)])
        found += [abs((v - v0) / h.value) for v, v0, h in zip(middle[1], bare, answer.influence, strict=True)]
    return found


def test_enough_speeds_match(weighed):
    assert len(weighed) >= 30


def test_the_ten_gram_rows_weigh_nearly_ten_grams(weighed):
    # README of the data: the median is near 9.7 g
    assert statistics.median(weighed) == pytest.approx(9.7, abs=0.2)


def test_half_of_the_rows_lie_around_it(weighed):
    lower, _, upper = statistics.quantiles(weighed, n=4)
    assert 5 < lower < 10 < upper < 20


def test_the_answer_takes_the_mass_off_again():
    # as found: the rotor with 20 g; the trial run: 20 g removed. The correction is to remove about 20 g, less
    # what the rotor had of its own
    rows = read_rows()
    answers = []
    for speed, vectors in rows[20.0]:
        bare = nearest(rows[0.0], speed)
        if 15 <= speed <= 60 and bare is not None:
            answers.append(solve_influence([run(vectors, 0.0), run(bare[1], -20.0)]).correction)
    assert statistics.median(a.amplitude for a in answers) == pytest.approx(20, rel=0.25)
    assert statistics.median(abs(math.degrees(a.lag)) for a in answers) > 150
