"""Runs files that cannot be used: (name, text, words of the refusal), for parser and command line.

Where a line can be named it ends in ``# here``: the refusal must point to it.
"""

_GOOD_TRIAL = """\
[[run]]
amplitude = 8.0
phase_deg = 30
masses = [{ mass_g = 0.05, angle_deg = 90 }]
"""
_GOOD_START = """\
radius_mm = 60
[[run]]
amplitude = 5.0
phase_deg = 120
"""


def _start(line: str) -> str:
    """A job whose first run is replaced by one holding `line`."""
    return f"radius_mm = 60\n[[run]]\n{line}\n" + _GOOD_TRIAL


def _top(line: str) -> str:
    return f"{line}\n{_GOOD_START}{_GOOD_TRIAL}"


def _trial(masses: str) -> str:
    return f"{_GOOD_START}[[run]]\namplitude = 8.0\nphase_deg = 30\n{masses}\n"


def _without_phase(*runs: str) -> str:
    return "radius_mm = 60\n" + "".join(f"[[run]]\n{run}\n" for run in runs)


BAD_RUNS: list[tuple[str, str, str]] = [
    # not a runs file at all
    ("empty", "", "there are no runs in it"),
    ("comments only", "# nothing yet\n\n", "there are no runs in it"),
    ("a recording in its place", "# balancer stream 1\na,0,0,1,2,3*1f2e\n", "this is not TOML"),
    ("broken TOML, open quote", 'radius_mm = 60\nphase = "lag  # here\n[[run]]\n', "this is not TOML"),
    ("broken TOML, no value", _top("speed_rpm =   # here"), "this is not TOML"),
    (
        "broken TOML, half a masses list",
        _trial("masses = [{ mass_g = 0.05, angle_deg = 90 }"),
        "this is not TOML",
    ),
    ("a key twice", _top("radius_mm = 60"), "this is not TOML"),
    ("nested beyond reason", "radius_mm = " + "[" * 5000 + "]" * 5000 + "\n", "this is not TOML"),
    ("a number of too many digits", _top("speed_rpm = " + "1" * 5000), "this is not TOML"),
    # structure
    ("settings but no runs", "radius_mm = 60\nspeed_rpm = 5200\n", "there are no runs in it"),
    ("run is a number", "run = 3\nradius_mm = 60\n", "there are no runs in it"),
    (
        "a single table in place of a list",
        "radius_mm = 60\n[run]\namplitude = 5.0\n",
        "there are no runs in it",
    ),
    ("a list of numbers for runs", "run = [1, 2]\n", "there are no runs in it"),
    ("unknown key at the top", _top("speed = 5200  # here"), "speed is not known here"),
    (
        "unknown key in a run",
        _start("amplitude = 5.0\nphase_rad = 2.1  # here"),
        "phase_rad is not known here",
    ),
    (
        "unknown key in a mass",
        _trial("masses = [{ mass_mg = 50, angle_deg = 90 }]  # here"),
        "mass_mg is not known here",
    ),
    # numbers
    ("text for the speed", _top('speed_rpm = "fast"  # here'), "is not a number"),
    ("text for an amplitude", _start('amplitude = "5.0"  # here\nphase_deg = 120'), "is not a number"),
    ("text for a mass", _trial('masses = [{ mass_g = "tape", angle_deg = 90 }]  # here'), "is not a number"),
    ("yes for the radius", "radius_mm = true  # here\n" + _GOOD_TRIAL, "is not a number"),
    ("a date for the speed", _top("speed_rpm = 2024-05-01  # here"), "is not a number"),
    ("a list for a phase", _start("amplitude = 5.0\nphase_deg = [120]  # here"), "is not a number"),
    ("infinite amplitude", _start("amplitude = inf  # here\nphase_deg = 120"), "must be a finite number"),
    ("phase nan", _start("amplitude = 5.0\nphase_deg = nan  # here"), "must be a finite number"),
    ("infinite radius", "radius_mm = inf  # here\n" + _GOOD_TRIAL, "must be a finite number"),
    (
        "mass nan",
        _trial("masses = [{ mass_g = nan, angle_deg = 90 }]  # here"),
        "must be a finite number",
    ),
    (
        "amplitude beyond every number",
        _start("amplitude = 1e999  # here\nphase_deg = 120"),
        "must be a finite number",
    ),
    (
        "whole number beyond every number",
        _start(f"amplitude = {'9' * 400}  # here\nphase_deg = 120"),
        "must be a finite number",
    ),
    (
        "negative amplitude",
        _start("amplitude = -5.0  # here\nphase_deg = 120"),
        "an amplitude cannot be negative",
    ),
    ("speed of nothing", _top("speed_rpm = 0  # here"), "speed_rpm must be above 0"),
    ("negative rotor mass", _top("rotor_mass_g = -12  # here"), "rotor_mass_g must be above 0"),
    ("grade of nothing", _top("grade = 0  # here"), "grade must be above 0"),
    ("radius of nothing", "radius_mm = 0  # here\n" + _GOOD_TRIAL, "radius_mm must be above 0"),
    (
        "negative radius of a mass",
        _trial("masses = [{ mass_g = 0.05, angle_deg = 90, radius_mm = -60 }]  # here"),
        "radius_mm must be above 0",
    ),
    (
        "uncertainty of nothing",
        _start("amplitude = 5.0\nphase_deg = 120\nsd_amplitude = 0  # here"),
        "sd_amplitude must be above 0",
    ),
    # words
    ("phase neither lag nor lead", _top('phase = "behind"  # here'), 'write phase = "lag" or phase = "lead"'),
    ("phase is a number", _top("phase = 90  # here"), 'write phase = "lag" or phase = "lead"'),
    # masses
    ("no radius anywhere", _trial("masses = []").replace("radius_mm = 60\n", ""), "no radius is given"),
    (
        "no radius for a mass",
        _trial("masses = [{ mass_g = 0.05, angle_deg = 90 }]  # here").replace("radius_mm = 60\n", ""),
        "a mass has no radius",
    ),
    (
        "masses is one mass",
        _trial("masses = { mass_g = 0.05, angle_deg = 90 }  # here"),
        "masses must be a list",
    ),
    ("masses is a number", _trial("masses = 0.05  # here"), "masses must be a list"),
    ("masses is a list of numbers", _trial("masses = [0.05]  # here"), "masses must be a list"),
    ("a mass without an angle", _trial("masses = [{ mass_g = 0.05 }]  # here"), "a mass has no angle_deg"),
    ("a mass without a mass", _trial("masses = [{ angle_deg = 90 }]  # here"), "a mass has no mass_g"),
    # recordings
    (
        "a recording that is not there",
        "radius_mm = 60\n[[run]]  # here\nrecording = 'nowhere.stream.csv'\n"
        "[[run]]\nrecording = 'nowhere-either.stream.csv'\nmasses = [{ mass_g = 0.05, angle_deg = 90 }]\n",
        "nowhere.stream.csv",
    ),
    (
        "a recording that is the runs file itself",
        "radius_mm = 60\n[[run]]  # here\nrecording = 'runs.toml'\n"
        "[[run]]\nrecording = 'runs.toml'\nmasses = [{ mass_g = 0.05, angle_deg = 90 }]\n",
        "runs.toml",
    ),
    (
        "a recording without a name",
        "radius_mm = 60\n[[run]]\nrecording = ''  # here\n[[run]]\nrecording = 'b.csv'\n",
        "recording must be a file name",
    ),
    ("a recording that is a number", _start("recording = 5  # here"), "recording must be a file name"),
    (
        "recording and amplitude in one run",
        "radius_mm = 60\n[[run]]  # here\nrecording = 'a.csv'\namplitude = 5.0\n",
        "a recording or an amplitude, and only one of them",
    ),
    (
        "a run with neither",
        "radius_mm = 60\n[[run]]  # here\nphase_deg = 120\n" + _GOOD_TRIAL,
        "a recording or an amplitude, and only one of them",
    ),
    (
        "a phase typed beside a recording",
        "radius_mm = 60\n[[run]]\nrecording = 'a.csv'\nphase_deg = 120  # here\n",
        "phase_deg beside a recording would not be used",
    ),
    ("recordings mixed with readings", _start("recording = 'a.csv'"), "do not mix"),
    # runs that do not determine an answer
    ("one run", _GOOD_START, "one run cannot tell what a mass does"),
    (
        "identical vectors",
        _GOOD_START + _GOOD_TRIAL.replace("8.0", "5.0").replace("30", "120"),
        "are identical",
    ),
    (
        "all readings zero",
        (_GOOD_START + _GOOD_TRIAL).replace("5.0", "0.0").replace("8.0", "0.0"),
        "are identical",
    ),
    ("no trial mass", _trial("masses = []"), "every run has the same masses fitted"),
    (
        "trial masses that cancel",
        _trial("masses = [{ mass_g = 1, angle_deg = 10 }, { mass_g = 1, angle_deg = 190 }]"),
        "every run has the same masses fitted",
    ),
    (
        "phase in one run only",
        _GOOD_START + _GOOD_TRIAL.replace("phase_deg = 30\n", ""),
        "some runs have a phase",
    ),
    (
        "amplitudes of two runs only",
        (_GOOD_START + _GOOD_TRIAL).replace("phase_deg = 30\n", "").replace("phase_deg = 120\n", ""),
        "trials at two places or more are needed",
    ),
    (
        "identical amplitudes",
        _without_phase(
            "amplitude = 5.0",
            *(f"amplitude = 5.0\nmasses = [{{ mass_g = 1, angle_deg = {a} }}]" for a in (0, 120, 240)),
        ),
        "amplitudes of all runs are identical",
    ),
    ("a unit that is none", _top('unit = "stone" # here'), "unit = 'stone' is not known"),
    ("a unit that is a number", _top("time_unit = 3 # here"), "time_unit = 3 is not known"),
    ("marks beside a reading", _start('amplitude = 5.0\nmarks = "m.csv" # here'), "would not be used"),
    ("marks without a name", _start('recording = "a.csv"\nmarks = "" # here'), "file name in quotes"),
    ("half a channel", _top("mark_channel = 1.5 # here"), "mark_channel = 1.5 is no channel"),
    ("a scale of nothing", _top("wav_scale = 0 # here"), "wav_scale must be above 0"),
]
