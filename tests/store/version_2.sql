-- What the second version of the program wrote besides what stands in version_1.sql.
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
UPDATE meta SET value = '2' WHERE key = 'schema_version';
INSERT INTO recordings VALUES (
    'barn-2026-01-05', 1, 0, 'organ.wav', 'recording', 'amplifier-output', 'main', false, NULL, 'out', '1', NULL,
    'organ', NULL, 40.0, 8000, 2, 1200, 'PCM_16', 'dd', 4844, 1767600000000000000);
INSERT INTO summaries VALUES ('dd', 'made-up', '1', '{}', 'sums', [2], [3.5, 4.5]);
