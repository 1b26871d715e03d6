BEGIN TRANSACTION;
CREATE TABLE coefficients (
        id TEXT PRIMARY KEY NOT NULL,
        stand TEXT NOT NULL REFERENCES stands(id),
        job TEXT REFERENCES jobs(id),
        coefficient TEXT NOT NULL CHECK (json_valid(coefficient)),
        edited_at TEXT NOT NULL,
        removed_at TEXT
    ) STRICT
    ;
INSERT INTO "coefficients" VALUES('51d36902-5a85-525c-b029-186f5d50e633','1333c55f-04a7-573f-91dd-0b03551eb5a7','e3b32455-3e5b-5410-a1a1-1852af1d0a4a','{"set_up":{"stand":"bench","channels":["x","y"],"unit":"m/s^2","sensor":"","rate_hz":null,"lowpass_hz":null,"full_scale_m_s2":null,"mark_edge":"","pickup":"","hand":"","moving_mass_g":420.0},"speed_rpm":5199.5919908122205,"influence_per_gmm":[{"unit":"m/s^2/(g mm)","re":0.21,"im":0.01,"variance_re":1e-06,"variance_im":1e-06,"covariance":0.0},{"unit":"m/s^2/(g mm)","re":0.21,"im":0.01,"variance_re":1e-06,"variance_im":1e-06,"covariance":0.0}],"when":"2026-03-01","runs":3,"has_phase":true,"determinations":1,"scatter_percent":null}','2026-03-01T09:30:00.000000Z',NULL);
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
    ;
INSERT INTO "events" VALUES('70fe96a4-f3ff-537d-9dc7-544cd7188b3e','c29b175e-2c33-5455-a701-ce3f1230ebe1','balanced','2026-03-03T09:30:00.000000Z','','e3b32455-3e5b-5410-a1a1-1852af1d0a4a',NULL,NULL,NULL,'2026-03-01T09:30:00.000000Z',NULL);
INSERT INTO "events" VALUES('faea6d2e-1727-5682-83fa-8a763fa29e4e','c29b175e-2c33-5455-a701-ce3f1230ebe1','crashed','2026-03-06T09:30:00.000000Z','',NULL,NULL,NULL,NULL,'2026-03-01T09:30:00.000000Z',NULL);
INSERT INTO "events" VALUES('2f3f4560-50e7-5a80-9bce-f01e1ba318c3','c29b175e-2c33-5455-a701-ce3f1230ebe1','moved','2026-03-07T09:30:00.000000Z','',NULL,'fitted','2ad34aa3-13d9-5404-a01b-de99ce3f8a06',1,'2026-03-01T09:30:00.000000Z',NULL);
INSERT INTO "events" VALUES('8c76dab1-8b42-55e3-ba22-c0a9b5855751','9f1bbbc0-9c52-5b54-897a-83207fc26dfe','made','2026-03-01T09:30:00.000000Z','',NULL,NULL,NULL,NULL,'2026-03-01T09:30:00.000000Z',NULL);
CREATE TABLE jobs (
        id TEXT PRIMARY KEY NOT NULL,
        part TEXT NOT NULL REFERENCES parts(id),
        stand TEXT REFERENCES stands(id),
        started_at TEXT NOT NULL,
        frame TEXT NOT NULL CHECK (json_valid(frame)),
        edited_at TEXT NOT NULL,
        removed_at TEXT
    ) STRICT
    ;
INSERT INTO "jobs" VALUES('e3b32455-3e5b-5410-a1a1-1852af1d0a4a','c29b175e-2c33-5455-a701-ce3f1230ebe1','1333c55f-04a7-573f-91dd-0b03551eb5a7','2026-03-01T09:30:00.000000Z','{"part":{"kind":"propeller","mass_g":16.0,"places":{"blades":[{"name":"blade 1","angle_deg":0.0,"inner_mm":40.0,"outer_mm":140.0,"usual_mm":null,"faces":2,"sanded_from_mm":110.0},{"name":"blade 2","angle_deg":180.0,"inner_mm":40.0,"outer_mm":140.0,"usual_mm":null,"faces":2,"sanded_from_mm":110.0}],"rings":[{"name":"hub","radius_mm":12.0,"slots":[],"removable":false}],"spots":[],"blades_first":true},"name":"P10","hand":"ccw","grade_mm_s":6.3},"stock":{"tape":{"name":"polyimide","g_m2":73.0,"width_mm":5.0,"weighed":false},"length_step_mm":1.0,"shortest_mm":3.0,"longest_mm":30.0,"layers":3,"ring_layers":6,"drop_step_g":0.0,"largest_drop_g":0.1,"washers_g":[],"removal_step_g":0.0,"largest_removal_g":0.1,"angle_step_deg":1.0,"radius_step_mm":1.0},"speed_rpm":5199.5919908122205,"stand":{"name":"bench","moving_mass_g":420.0},"limits":{"force_n":null,"vibration_m_s2":null},"bell_below":"balanced","cautions_acknowledged":false,"sensor_check":null,"set_up":null,"known_influence_per_gmm":null,"hint_influence_per_gmm":null,"fitted":[],"runs":[]}','2026-03-01T09:30:00.000000Z',NULL);
CREATE TABLE machines (
        id TEXT PRIMARY KEY NOT NULL,
        name TEXT NOT NULL,
        arms TEXT NOT NULL CHECK (json_valid(arms)),
        words TEXT NOT NULL,
        edited_at TEXT NOT NULL,
        removed_at TEXT
    ) STRICT
    ;
INSERT INTO "machines" VALUES('2ad34aa3-13d9-5404-a01b-de99ce3f8a06','Tern','[{"number":1,"hand":"ccw"},{"number":2,"hand":"cw"},{"number":3,"hand":"ccw"},{"number":4,"hand":"cw"},{"number":5,"hand":"ccw"},{"number":6,"hand":"cw"}]','','2026-03-01T09:30:00.000000Z',NULL);
CREATE TABLE migrations (number INTEGER PRIMARY KEY, name TEXT NOT NULL, applied_at TEXT NOT NULL) STRICT;
INSERT INTO "migrations" VALUES(1,'the tables','2026-11-28T23:39:38+00:00');
INSERT INTO "migrations" VALUES(2,'lists in natural order, and what is due','2026-11-28T23:39:38+00:00');
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
    , sort_key TEXT NOT NULL DEFAULT '', looked_at TEXT, disturbed_at TEXT) STRICT
    ;
INSERT INTO "parts" VALUES('c29b175e-2c33-5455-a701-ce3f1230ebe1','P10','propeller',16.0,'{"diameter_mm":304.8,"blades":2,"hand":"ccw","pitch_mm":114.3,"material":"carbon"}','from the first bag','','fitted','2ad34aa3-13d9-5404-a01b-de99ce3f8a06',1,'{"blades":[{"name":"blade 1","angle_deg":0.0,"inner_mm":40.0,"outer_mm":140.0,"usual_mm":null,"faces":2,"sanded_from_mm":110.0},{"name":"blade 2","angle_deg":180.0,"inner_mm":40.0,"outer_mm":140.0,"usual_mm":null,"faces":2,"sanded_from_mm":110.0}],"rings":[{"name":"hub","radius_mm":12.0,"slots":[],"removable":false}],"spots":[],"blades_first":true}','[{"where":"blade 1","kind":"mass","mass_g":0.012,"radius_mm":100.0,"angle_deg":68.75493541569878,"strip":null,"along_blade":false,"faces":1}]',6.3,'2026-03-01T09:30:00.000000Z',NULL,'p000000000010','2026-03-03T09:30:00.000000Z','2026-03-06T09:30:00.000000Z');
INSERT INTO "parts" VALUES('9f1bbbc0-9c52-5b54-897a-83207fc26dfe','p2','propeller',16.0,'{"diameter_mm":304.8,"blades":2,"hand":"ccw","pitch_mm":114.3,"material":"carbon"}','from the first bag','','spare',NULL,NULL,'{"blades":[{"name":"blade 1","angle_deg":0.0,"inner_mm":40.0,"outer_mm":140.0,"usual_mm":null,"faces":2,"sanded_from_mm":110.0},{"name":"blade 2","angle_deg":180.0,"inner_mm":40.0,"outer_mm":140.0,"usual_mm":null,"faces":2,"sanded_from_mm":110.0}],"rings":[{"name":"hub","radius_mm":12.0,"slots":[],"removable":false}],"spots":[],"blades_first":true}','[]',6.3,'2026-03-01T09:30:00.000000Z',NULL,'p000000000002',NULL,NULL);
INSERT INTO "parts" VALUES('bc13e522-985a-5a51-a036-ed687bfa37ee','M1','bell',45.0,'{"radius_mm":16.0,"motor":"2814","magnets":14}','','','spare',NULL,NULL,'{"blades":[],"rings":[{"name":"bell rim","radius_mm":16.0,"slots":[],"removable":false}],"spots":[],"blades_first":true}','[]',6.3,'2026-03-01T09:30:00.000000Z',NULL,'m000000000001',NULL,NULL);
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
    ;
INSERT INTO "readings" VALUES('4cebe32d-49c7-56b2-b5ac-474acffe24a9',0,'x','m/s^2',1.5,0.5,0.0004,0.0003,0.0001,NULL,NULL);
INSERT INTO "readings" VALUES('4cebe32d-49c7-56b2-b5ac-474acffe24a9',1,'y','m/s^2',7.00000000000000066613e-01,-1.00000000000000033306e-01,0.0004,0.0003,0.0001,NULL,NULL);
INSERT INTO "readings" VALUES('887d95f0-c5e7-5cae-9129-8c4eea4001e4',0,'x','m/s^2',1.5,0.5,0.0004,0.0003,0.0001,NULL,NULL);
INSERT INTO "readings" VALUES('887d95f0-c5e7-5cae-9129-8c4eea4001e4',1,'y','m/s^2',7.00000000000000066613e-01,-1.00000000000000033306e-01,0.0004,0.0003,0.0001,NULL,NULL);
INSERT INTO "readings" VALUES('e54001c0-7deb-52c0-8bc1-3aacbc7462b0',0,'x','m/s^2',1.5,0.5,0.0004,0.0003,0.0001,NULL,NULL);
INSERT INTO "readings" VALUES('e54001c0-7deb-52c0-8bc1-3aacbc7462b0',1,'y','m/s^2',7.00000000000000066613e-01,-1.00000000000000033306e-01,0.0004,0.0003,0.0001,NULL,NULL);
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
    ;
INSERT INTO "runs" VALUES('4cebe32d-49c7-56b2-b5ac-474acffe24a9','c29b175e-2c33-5455-a701-ce3f1230ebe1','1333c55f-04a7-573f-91dd-0b03551eb5a7','e3b32455-3e5b-5410-a1a1-1852af1d0a4a',1,'2026-03-01T09:30:00.000000Z','{"run":{"masses":[],"purpose":"as-is","speed_rpm":5199.5919908122205},"source":"typed","findings":[{"code":"few_revolutions","severity":"warning","figures":{"revolutions":41.5}}],"signs":[],"set_aside":"","fit_error_gmm":0.0}',NULL,'0.1.0','2026-03-01T09:30:00.000000Z',NULL);
INSERT INTO "runs" VALUES('887d95f0-c5e7-5cae-9129-8c4eea4001e4','c29b175e-2c33-5455-a701-ce3f1230ebe1','1333c55f-04a7-573f-91dd-0b03551eb5a7','e3b32455-3e5b-5410-a1a1-1852af1d0a4a',2,'2026-03-01T09:30:00.000000Z','{"run":{"masses":[],"purpose":"as-is","speed_rpm":5199.5919908122205},"source":"typed","findings":[{"code":"few_revolutions","severity":"warning","figures":{"revolutions":41.5}}],"signs":[],"set_aside":"","fit_error_gmm":0.0}',NULL,'0.1.0','2026-03-01T09:30:00.000000Z',NULL);
INSERT INTO "runs" VALUES('e54001c0-7deb-52c0-8bc1-3aacbc7462b0','bc13e522-985a-5a51-a036-ed687bfa37ee',NULL,NULL,0,'2026-03-01T09:30:00.000000Z','{"run":{"masses":[],"purpose":"as-is","speed_rpm":5199.5919908122205},"source":"typed","findings":[{"code":"few_revolutions","severity":"warning","figures":{"revolutions":41.5}}],"signs":[],"set_aside":"","fit_error_gmm":0.0}',NULL,'0.1.0','2026-03-01T09:30:00.000000Z','2026-03-02T09:30:00.000000Z');
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
    ;
INSERT INTO "stands" VALUES('1333c55f-04a7-573f-91dd-0b03551eb5a7','bench','under the motor',420.0,'{"stand":"bench","channels":["x","y"],"unit":"m/s^2","sensor":"","rate_hz":null,"lowpass_hz":null,"full_scale_m_s2":null,"mark_edge":"","pickup":"","hand":"","moving_mass_g":420.0}','','','2026-03-01T09:30:00.000000Z',NULL);
CREATE UNIQUE INDEX machines_name ON machines(name COLLATE NOCASE) WHERE removed_at IS NULL;
CREATE UNIQUE INDEX parts_label ON parts(label COLLATE NOCASE)
    WHERE removed_at IS NULL AND state <> 'retired'
    ;
CREATE UNIQUE INDEX parts_arm ON parts(machine, arm, kind)
    WHERE removed_at IS NULL AND state = 'fitted'
    ;
CREATE UNIQUE INDEX stands_name ON stands(name COLLATE NOCASE) WHERE removed_at IS NULL;
CREATE INDEX jobs_part ON jobs(part, started_at);
CREATE INDEX jobs_stand ON jobs(stand);
CREATE INDEX runs_part ON runs(part, at);
CREATE UNIQUE INDEX runs_job ON runs(job, number) WHERE job IS NOT NULL;
CREATE INDEX runs_stand ON runs(stand);
CREATE INDEX runs_file ON runs(file);
CREATE INDEX runs_marks_file ON runs(marks_file);
CREATE INDEX coefficients_stand ON coefficients(stand);
CREATE INDEX coefficients_job ON coefficients(job);
CREATE INDEX events_part ON events(part, at);
CREATE INDEX events_job ON events(job);
CREATE INDEX events_machine ON events(machine);
CREATE INDEX parts_order
    ON parts(sort_key, id, kind, state, machine, looked_at, disturbed_at, removed_at)
    ;
CREATE TRIGGER events_added AFTER INSERT ON events BEGIN
        UPDATE parts SET looked_at = (SELECT max(at) FROM events WHERE part = NEW.part AND removed_at IS NULL AND kind IN ('balanced', 'checked')), disturbed_at = (SELECT max(at) FROM events WHERE part = NEW.part AND removed_at IS NULL AND kind IN ('crashed', 'repaired')) WHERE id = NEW.part;
    END;
CREATE TRIGGER events_changed AFTER UPDATE ON events BEGIN
        UPDATE parts SET looked_at = (SELECT max(at) FROM events WHERE part = NEW.part AND removed_at IS NULL AND kind IN ('balanced', 'checked')), disturbed_at = (SELECT max(at) FROM events WHERE part = NEW.part AND removed_at IS NULL AND kind IN ('crashed', 'repaired')) WHERE id = NEW.part;
    END;
CREATE TRIGGER events_gone AFTER DELETE ON events BEGIN
        UPDATE parts SET looked_at = (SELECT max(at) FROM events WHERE part = OLD.part AND removed_at IS NULL AND kind IN ('balanced', 'checked')), disturbed_at = (SELECT max(at) FROM events WHERE part = OLD.part AND removed_at IS NULL AND kind IN ('crashed', 'repaired')) WHERE id = OLD.part;
    END;
COMMIT;
