"""The store's tables and their version."""

SCHEMA_VERSION = 3

# What version 2 adds. Samples are never kept: a recording stands by its path and what tells that it is the same file.
RECORDING_TABLES = """
CREATE TABLE recordings (
    session_id VARCHAR NOT NULL, revision INTEGER NOT NULL, ordinal INTEGER NOT NULL, path VARCHAR NOT NULL,
    kind VARCHAR NOT NULL, point VARCHAR NOT NULL, playing VARCHAR NOT NULL, in_place BOOLEAN NOT NULL,
    seat VARCHAR, condition VARCHAR, repeat VARCHAR NOT NULL, channel VARCHAR, programme VARCHAR,
    full_scale_pa DOUBLE, full_scale_v DOUBLE,
    rate_hz INTEGER NOT NULL, n_channels INTEGER NOT NULL, n_frames BIGINT NOT NULL, subtype VARCHAR NOT NULL,
    sha256 VARCHAR NOT NULL, size BIGINT NOT NULL, modified_ns BIGINT NOT NULL,
    PRIMARY KEY (session_id, revision, ordinal));
CREATE TABLE summaries (
    content_sha256 VARCHAR NOT NULL, name VARCHAR NOT NULL, version VARCHAR NOT NULL, parameters VARCHAR NOT NULL,
    array_name VARCHAR NOT NULL, shape BIGINT[] NOT NULL, content DOUBLE[] NOT NULL,
    PRIMARY KEY (content_sha256, name, version, parameters, array_name));
"""

# What version 3 adds: the harmonics of sweeps, and what was done to what a file holds.
HARMONIC_TABLE = """
CREATE TABLE harmonics (
    session_id VARCHAR NOT NULL, revision INTEGER NOT NULL, ordinal INTEGER NOT NULL, harmonic INTEGER NOT NULL,
    frequency_hz DOUBLE[] NOT NULL, level_db DOUBLE[] NOT NULL, noise_level_db DOUBLE[] NOT NULL,
    PRIMARY KEY (session_id, revision, ordinal, harmonic));
"""
APPLIED_TO_RECORDINGS = """
ALTER TABLE recordings ADD COLUMN applied VARCHAR[];
"""
APPLIED_COLUMNS = f"""
ALTER TABLE measurements ADD COLUMN applied VARCHAR[];
ALTER TABLE sources ADD COLUMN applied VARCHAR[];
{APPLIED_TO_RECORDINGS}"""

TABLES = f"""
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
    grid_sha256 VARCHAR NOT NULL, level_db DOUBLE[] NOT NULL, phase_deg DOUBLE[], applied VARCHAR[],
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
    size BIGINT NOT NULL, importer VARCHAR NOT NULL, caveats VARCHAR[] NOT NULL, applied VARCHAR[],
    PRIMARY KEY (session_id, revision, path));
CREATE TABLE results (
    session_id VARCHAR NOT NULL, revision INTEGER NOT NULL, analyser VARCHAR NOT NULL, version VARCHAR NOT NULL,
    key VARCHAR NOT NULL, result_json VARCHAR NOT NULL, problem VARCHAR,
    PRIMARY KEY (session_id, revision, analyser));
{RECORDING_TABLES}{HARMONIC_TABLE}{APPLIED_TO_RECORDINGS}"""
