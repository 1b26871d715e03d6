"""The picture of a sweep."""

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from balancer.errors import InputError
from balancer.figures import standalone
from balancer.figures.run_up import Curve, SweepView, run_up_picture

RPM = tuple(np.linspace(1500.0, 9000.0, 60).tolist())


def curve(name="x", size=1.0):
    ratio = np.array(RPM) / 4000
    response = size * ratio**2 / (1 - ratio**2 - 0.1j * ratio)
    return Curve(name, RPM, tuple(complex(v) for v in response))


def view(**changes):
    asked = {
        "curves": (curve(), curve("y", 0.4)),
        "unit": "m/s^2",
        "resonances_rpm": (4000.0,),
        "keep_out_rpm": ((3400.0, 4600.0),),
        "proposed_rpm": 5200.0,
        "hover_rpm": 5000.0,
        **changes,
    }
    return SweepView(**asked)


def test_it_is_one_line_of_well_formed_svg_that_says_what_it_shows():
    drawn = run_up_picture(view())
    assert "\n" not in drawn
    assert " id=" not in drawn
    root = ET.fromstring(standalone(drawn))
    label = root.attrib["aria-label"]
    assert "1500 to 9000 rpm" in label
    assert "Resonances at 4000 rpm" in label
    assert "5200 rpm" in label
    words = {element.text for element in root.iter() if element.tag.endswith("text")}
    assert {"balance here", "hover", "x", "y", "rpm", "360°", "amplitude, m/s^2"} <= words


def test_the_peak_is_at_the_resonance():
    drawn = run_up_picture(view(curves=(curve(),), hover_rpm=None, proposed_rpm=None))
    first = re.search(r'<path d="M([^"]*)"', drawn)[1]
    points = [complex(*map(float, p.split(","))) for p in first.split("L")]
    top = min(points, key=lambda p: p.imag)
    dashed = re.search(r'<line x1="([\d.]+)"[^>]*stroke-dasharray="3 3"', drawn)[1]
    assert top.real == pytest.approx(float(dashed), abs=8)


def test_the_phase_breaks_where_it_passes_a_full_turn():
    turning = Curve("x", RPM, tuple(complex(v) for v in np.exp(1j * np.linspace(5, 8, 60))))
    drawn = run_up_picture(view(curves=(turning,)))
    phase = re.findall(r'<path d="([^"]*)"', drawn)[1]
    assert phase.count("M") == 2


def test_names_are_escaped():
    assert "<b>" not in run_up_picture(view(curves=(curve("<b>"),)))


@pytest.mark.parametrize("curves", [(), (curve(),) * 4, (Curve("x", (1000.0,), (1j,)),)])
def test_what_cannot_be_drawn(curves):
    with pytest.raises(InputError, match="one to three channels"):
        run_up_picture(view(curves=curves))
