"""Version 1: machines, parts, stands, jobs, runs with their readings, coefficients, events.

What is searched or sorted by is a column with its unit in the name; what is only read as a whole is JSON,
from which columns for queries are derived.
`removed_at` marks what no longer counts; a unique label, name or arm is so among what counts only. A vector
is two real columns with the three numbers of its covariance; a reading without phase is an amplitude.
"""

from __future__ import annotations

STEPS = (
    """
    CREATE TABLE machines (
        id TEXT PRIMARY KEY NOT NULL,
        name TEXT NOT NULL,
        arms TEXT NOT NULL CHECK (json_valid(arms)),
        words TEXT NOT NULL,
        edited_at TEXT NOT NULL,
        removed_at TEXT
    ) STRICT
    """,
    "CREATE UNIQUE INDEX machines_name ON machines(name COLLATE NOCASE) WHERE removed_at IS NULL",
    """
    CREATE TABLE parts (
        id TEXT PRIMARY KEY NOT NULL,
        label TEXT NOT NULL,
        kind TEXT NOT NULL CHECK (kind IN ('propeller', 'bell', 'adapter')),
        mass_g REAL,
        sizes TEXT CHECK (sizes IS NULL OR json_valid(sizes)),
        words TEXT NOT NULL,
        photo TEXT NOT NULL,
        state TEXT NOT NULL CHECK (state IN ('fitted', 'spare', 'retired')),
        machine TEXT REFERENCES machines(id),
        arm INTEGER,
        places TEXT CHECK (places IS NULL OR json_valid(places)),
        pieces TEXT NOT NULL CHECK (json_valid(pieces)),
        grade_mm_s REAL NOT NULL,
        edited_at TEXT NOT NULL,
        removed_at TEXT
    ) STRICT
    """,
    """
    CREATE UNIQUE INDEX parts_label ON parts(label COLLATE NOCASE)
    WHERE removed_at IS NULL AND state <> 'retired'
    """,
    """
    CREATE UNIQUE INDEX parts_arm ON parts(machine, arm, kind)
    WHERE removed_at IS NULL AND state = 'fitted'
    """,
    """
    CREATE TABLE stands (
        id TEXT PRIMARY KEY NOT NULL,
        name TEXT NOT NULL,
        place TEXT NOT NULL,
        moving_mass_g REAL,
        set_up TEXT CHECK (set_up IS NULL OR json_valid(set_up)),
        photo TEXT NOT NULL,
        words TEXT NOT NULL,
        edited_at TEXT NOT NULL,
        removed_at TEXT
    ) STRICT
    """,
    "CREATE UNIQUE INDEX stands_name ON stands(name COLLATE NOCASE) WHERE removed_at IS NULL",
    """
    CREATE TABLE jobs (
        id TEXT PRIMARY KEY NOT NULL,
        part TEXT NOT NULL REFERENCES parts(id),
        stand TEXT REFERENCES stands(id),
        started_at TEXT NOT NULL,
        frame TEXT NOT NULL CHECK (json_valid(frame)),
        edited_at TEXT NOT NULL,
        removed_at TEXT
    ) STRICT
    """,
    "CREATE INDEX jobs_part ON jobs(part, started_at)",
    "CREATE INDEX jobs_stand ON jobs(stand)",
    """
    CREATE TABLE runs (
        id TEXT PRIMARY KEY NOT NULL,
        part TEXT NOT NULL REFERENCES parts(id),
        stand TEXT REFERENCES stands(id),
        job TEXT REFERENCES jobs(id),
        number INTEGER NOT NULL,
        at TEXT NOT NULL,
        item TEXT NOT NULL CHECK (json_valid(item)),
        recording TEXT CHECK (recording IS NULL OR json_valid(recording)),
        software TEXT NOT NULL,
        edited_at TEXT NOT NULL,
        removed_at TEXT,
        purpose TEXT AS (item ->> '$.run.purpose'),
        speed_rpm REAL AS (item ->> '$.run.speed_rpm'),
        set_aside TEXT AS (item ->> '$.set_aside'),
        file TEXT AS (recording ->> '$.file'),
        marks_file TEXT AS (nullif(recording ->> '$.marks_file', ''))
    ) STRICT
    """,
    "CREATE INDEX runs_part ON runs(part, at)",
    "CREATE UNIQUE INDEX runs_job ON runs(job, number) WHERE job IS NOT NULL",
    "CREATE INDEX runs_stand ON runs(stand)",
    "CREATE INDEX runs_file ON runs(file)",
    "CREATE INDEX runs_marks_file ON runs(marks_file)",
    """
    CREATE TABLE readings (
        run TEXT NOT NULL REFERENCES runs(id) ON DELETE CASCADE,
        position INTEGER NOT NULL,
        channel TEXT NOT NULL,
        unit TEXT NOT NULL,
        re REAL,
        im REAL,
        var_re REAL,
        var_im REAL,
        cov REAL,
        amplitude REAL,
        sd_amplitude REAL,
        PRIMARY KEY (run, position),
        CHECK (
            (re IS NULL) = (im IS NULL) AND (re IS NULL) = (var_re IS NULL)
            AND (re IS NULL) = (var_im IS NULL) AND (re IS NULL) = (cov IS NULL)
            AND (re IS NULL) <> (amplitude IS NULL) AND (amplitude IS NULL) = (sd_amplitude IS NULL)
        )
    ) STRICT, WITHOUT ROWID
    """,
    """
    CREATE TABLE coefficients (
        id TEXT PRIMARY KEY NOT NULL,
        stand TEXT NOT NULL REFERENCES stands(id),
        job TEXT REFERENCES jobs(id),
        coefficient TEXT NOT NULL CHECK (json_valid(coefficient)),
        edited_at TEXT NOT NULL,
        removed_at TEXT
    ) STRICT
    """,
    "CREATE INDEX coefficients_stand ON coefficients(stand)",
    "CREATE INDEX coefficients_job ON coefficients(job)",
    """
    CREATE TABLE events (
        id TEXT PRIMARY KEY NOT NULL,
        part TEXT NOT NULL REFERENCES parts(id),
        kind TEXT NOT NULL,
        at TEXT NOT NULL,
        words TEXT NOT NULL,
        job TEXT REFERENCES jobs(id),
        state TEXT,
        machine TEXT REFERENCES machines(id),
        arm INTEGER,
        edited_at TEXT NOT NULL,
        removed_at TEXT
    ) STRICT
    """,
    "CREATE INDEX events_part ON events(part, at)",
    "CREATE INDEX events_job ON events(job)",
    "CREATE INDEX events_machine ON events(machine)",
)
