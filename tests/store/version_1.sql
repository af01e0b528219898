CREATE TABLE meta (key VARCHAR PRIMARY KEY, value VARCHAR NOT NULL);
CREATE TABLE sessions (
    session_id VARCHAR NOT NULL, revision INTEGER NOT NULL, room_id VARCHAR NOT NULL, folder VARCHAR NOT NULL,
    session_json VARCHAR NOT NULL, manifest BLOB NOT NULL, content_sha256 VARCHAR NOT NULL,
    target_frequency_hz DOUBLE[], target_level_db DOUBLE[], imported_at TIMESTAMP NOT NULL,
    PRIMARY KEY (session_id, revision));
CREATE TABLE grids (grid_sha256 VARCHAR PRIMARY KEY, frequency_hz DOUBLE[] NOT NULL);
CREATE TABLE measurements (
    session_id VARCHAR NOT NULL, revision INTEGER NOT NULL, ordinal INTEGER NOT NULL, path VARCHAR NOT NULL,
    kind VARCHAR NOT NULL, point VARCHAR NOT NULL, playing VARCHAR NOT NULL, in_place BOOLEAN NOT NULL,
    seat VARCHAR, condition VARCHAR, repeat VARCHAR NOT NULL, channel VARCHAR, programme VARCHAR,
    grid_sha256 VARCHAR NOT NULL, level_db DOUBLE[] NOT NULL, phase_deg DOUBLE[],
    PRIMARY KEY (session_id, revision, ordinal));
CREATE TABLE sheets (
    session_id VARCHAR NOT NULL, revision INTEGER NOT NULL, entry INTEGER NOT NULL, method VARCHAR NOT NULL,
    paths VARCHAR[] NOT NULL, reference VARCHAR, treatment VARCHAR, order_rule VARCHAR NOT NULL, scale VARCHAR,
    columns VARCHAR[] NOT NULL, PRIMARY KEY (session_id, revision, entry));
CREATE TABLE trials (
    session_id VARCHAR NOT NULL, revision INTEGER NOT NULL, entry INTEGER NOT NULL, ordinal INTEGER NOT NULL,
    listener VARCHAR, trial VARCHAR, cells VARCHAR[] NOT NULL,
    PRIMARY KEY (session_id, revision, entry, ordinal));
CREATE TABLE sources (
    session_id VARCHAR NOT NULL, revision INTEGER NOT NULL, path VARCHAR NOT NULL, sha256 VARCHAR NOT NULL,
    size BIGINT NOT NULL, importer VARCHAR NOT NULL, caveats VARCHAR[] NOT NULL,
    PRIMARY KEY (session_id, revision, path));
CREATE TABLE results (
    session_id VARCHAR NOT NULL, revision INTEGER NOT NULL, analyser VARCHAR NOT NULL, version VARCHAR NOT NULL,
    key VARCHAR NOT NULL, result_json VARCHAR NOT NULL, problem VARCHAR,
    PRIMARY KEY (session_id, revision, analyser));
INSERT INTO meta VALUES ('schema_version', '1');
INSERT INTO sessions VALUES (
    'barn-2026-01-05', 1, 'barn', 'sessions/barn',
    '{"conditions":[{"chain":{},"id":"out","label":"out","reference":true,"trim_db":0.0},{"chain":{},"id":"in","label":"in","reference":false,"trim_db":0.0}],"criteria":{},"date":null,"id":"barn-2026-01-05","measurements":[],"question":"","room":{"id":"barn"},"scores":[],"seats":[],"warnings":[]}',
    'format = 1'::BLOB, 'aa', NULL, NULL, TIMESTAMP '2026-01-05 10:00:00');
INSERT INTO grids VALUES ('bb', [20.0, 40.0, 80.0, 160.0]);
INSERT INTO measurements VALUES (
    'barn-2026-01-05', 1, 0, 'a.csv', 'response', 'amplifier-output', 'main', false, NULL, 'out', '1', NULL, NULL, 'bb',
    [1.0, 2.5, 3.0, 4.0], NULL);
INSERT INTO sources VALUES ('barn-2026-01-05', 1, 'a.csv', 'cc', 40, 'response-table', []);
