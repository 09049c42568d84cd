"""Every statement the store runs, apart from the tables' making in ``schema``.

Plain SQL that other databases speak too: ``ON CONFLICT`` and partial indexes are the least common parts of it.
Parameters are named where there is more than a handful.
"""

from __future__ import annotations

# --- the collector's own mark ---------------------------------------------------------------------------------

STORE_ID = "SELECT id FROM store"
SET_STORE_ID = "INSERT INTO store (id) VALUES (?)"
START = """
INSERT INTO collector (one, pid, version, started, heartbeat, stopped, poll_interval, listen, permits)
VALUES (1, :pid, :version, :started, :heartbeat, NULL, :poll_interval, :listen, :permits)
ON CONFLICT (one) DO UPDATE SET pid = excluded.pid, version = excluded.version, started = excluded.started,
    heartbeat = excluded.heartbeat, stopped = NULL, poll_interval = excluded.poll_interval, listen = excluded.listen,
    permits = excluded.permits
"""
HEARTBEAT = "UPDATE collector SET heartbeat = ?"
STOP = "UPDATE collector SET heartbeat = ?, stopped = ?"
COLLECTOR = "SELECT pid, version, started, heartbeat, stopped, poll_interval, listen, permits FROM collector"

# --- controllers and their rounds -----------------------------------------------------------------------------

REGISTER = """
INSERT INTO controllers (name, url, location, insecure, retired) VALUES (?, ?, ?, ?, NULL)
ON CONFLICT (name) DO UPDATE SET url = excluded.url, location = excluded.location, insecure = excluded.insecure,
    retired = NULL
"""
RETIRE = "UPDATE controllers SET retired = ? WHERE name = ? AND retired IS NULL"
KNOWN = """
SELECT c.name, c.id, c.layout, l.size, c.digest, r.frame, c.retired,
    c.location, r.valued,
    r.outcome, r.error, r.last_round, r.last_good, r.seconds, r.rounds, r.failed, r.late, r.requests, r.bytes
FROM controllers c LEFT JOIN layouts l ON l.id = c.layout LEFT JOIN rounds r ON r.controller = c.id
"""
CONTROLLERS = """
SELECT c.name, c.url, c.location, c.insecure, c.product, c.redfish_version,
    (SELECT count(*) FROM defects d WHERE d.controller = c.id), k.record,
    r.outcome, r.error, r.last_round, r.last_good, r.seconds, r.rounds, r.failed, r.late, r.requests, r.bytes
FROM controllers c LEFT JOIN rounds r ON r.controller = c.id LEFT JOIN contacts k ON k.controller = c.id
{} ORDER BY c.name
"""
ROUND = """
INSERT INTO rounds (controller, outcome, error, last_round, last_good, seconds, rounds, failed, late, requests, bytes,
    frame, valued, sensors)
VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
ON CONFLICT (controller) DO UPDATE SET outcome = excluded.outcome, error = excluded.error,
    last_round = excluded.last_round, last_good = excluded.last_good, seconds = excluded.seconds,
    rounds = excluded.rounds, failed = excluded.failed, late = excluded.late, requests = excluded.requests,
    bytes = excluded.bytes, frame = excluded.frame, valued = excluded.valued, sensors = excluded.sensors
"""

# --- what a walk found ----------------------------------------------------------------------------------------

WALKED = "UPDATE controllers SET product = ?, redfish_version = ?, layout = ?, digest = ? WHERE id = ?"
FORGET_PARTS = "DELETE FROM parts WHERE controller = ?"
ADD_PART = "INSERT INTO parts (controller, position, id, record) VALUES (?, ?, ?, ?)"
PART_IDS = "SELECT id FROM parts WHERE controller = ?"
FORGET_LINKS = "DELETE FROM links WHERE controller = ?"
ADD_LINK = "INSERT INTO links (controller, position, part, needs, why) VALUES (?, ?, ?, ?, ?)"
SETTINGS_OF = "SELECT record FROM settings WHERE controller = ? ORDER BY position"
FORGET_SETTINGS = "DELETE FROM settings WHERE controller = ?"
ADD_SETTING = "INSERT INTO settings (controller, position, record) VALUES (?, ?, ?)"
FIND_LAYOUT = "SELECT id FROM layouts WHERE controller = ? AND digest = ?"
ADD_LAYOUT = "INSERT INTO layouts (controller, digest, size, sensors) VALUES (?, ?, ?, ?) RETURNING id"
FORGET_DEFECTS = "DELETE FROM defects WHERE controller = ?"
ADD_DEFECT = """
INSERT INTO defects (controller, resource, property, kind, detail) VALUES (?, ?, ?, ?, ?)
ON CONFLICT (controller, resource, property, kind) DO UPDATE SET detail = excluded.detail
"""

# --- the state of parts ---------------------------------------------------------------------------------------

STATUSES_OF = "SELECT part, record FROM statuses WHERE controller = ?"
SET_STATUS = """
INSERT INTO statuses (controller, part, record) VALUES (?, ?, ?)
ON CONFLICT (controller, part) DO UPDATE SET record = excluded.record
"""
FORGET_STATUS = "DELETE FROM statuses WHERE controller = ? AND part = ?"
SET_LAMPS = """
INSERT INTO lamps (controller, part, blue, amber) VALUES (?, ?, ?, ?)
ON CONFLICT (controller, part) DO UPDATE SET blue = excluded.blue, amber = excluded.amber
"""
FORGET_LAMPS = "DELETE FROM lamps WHERE controller = ? AND part = ?"
SET_ROLLED = """
INSERT INTO rolled (controller, part, own, worst, record) VALUES (?, ?, ?, ?, ?)
ON CONFLICT (controller, part) DO UPDATE SET own = excluded.own, worst = excluded.worst, record = excluded.record
"""
FORGET_ROLLED = "DELETE FROM rolled WHERE controller = ? AND part = ?"

# --- conditions and events ------------------------------------------------------------------------------------

OTHER_OPENINGS = "SELECT opened, record FROM conditions WHERE id = ? AND closed IS NULL AND opened <> ?"
SET_CONDITION = """
INSERT INTO conditions (id, opened, controller, part, severity, closed, record) VALUES (?, ?, ?, ?, ?, ?, ?)
ON CONFLICT (id, opened) DO UPDATE SET severity = excluded.severity, closed = excluded.closed, record = excluded.record
"""
CLOSE_CONDITION = "UPDATE conditions SET closed = ?, record = ? WHERE id = ? AND opened = ?"
ADD_EVENT = "INSERT INTO events (time, controller, part, subject, severity, text) VALUES (?, ?, ?, ?, ?, ?)"

SET_HEARD = """
INSERT INTO heard (controller, record) VALUES (?, ?) ON CONFLICT (controller) DO UPDATE SET record = excluded.record
"""
SET_LEARNT = """
INSERT INTO learnt (controller, record) VALUES (?, ?) ON CONFLICT (controller) DO UPDATE SET record = excluded.record
"""
LEARNT = "SELECT c.name, h.record FROM learnt h JOIN controllers c ON c.id = h.controller WHERE c.retired IS NULL"
HEARD = "SELECT c.name, h.record FROM heard h JOIN controllers c ON c.id = h.controller WHERE c.retired IS NULL"

SET_CONTACT = """
INSERT INTO contacts (controller, record) VALUES (?, ?) ON CONFLICT (controller) DO UPDATE SET record = excluded.record
"""

# --- what people ask for --------------------------------------------------------------------------------------

ASK = """
INSERT INTO requests (asked_at, who, verb, target, arguments, why, expires, state, result, done_at)
VALUES (?, ?, ?, ?, ?, ?, ?, 'asked', '', NULL) RETURNING id
"""
_REQUEST = "id, asked_at, who, verb, target, arguments, why, expires, state, result, done_at"
REQUESTS = f"SELECT {_REQUEST} FROM requests ORDER BY id DESC LIMIT :limit"  # noqa: S608 - names from above
REQUESTS_ASKED = f"SELECT {_REQUEST} FROM requests WHERE state = 'asked' ORDER BY id LIMIT :limit"  # noqa: S608
REQUEST = f"SELECT {_REQUEST} FROM requests WHERE id = :id"  # noqa: S608
REQUESTS_TAKEN_UP = f"SELECT {_REQUEST} FROM requests WHERE state = 'taken up' ORDER BY id LIMIT :limit"  # noqa: S608
SAME_REQUEST = """
SELECT id FROM requests
WHERE state IN ('asked', 'taken up') AND verb = ? AND target = ? AND arguments = ? AND expires > ? ORDER BY id LIMIT 1
"""
SETTLE = """
UPDATE requests SET state = ?, result = ?, done_at = ? WHERE id = ? AND (state = 'asked' OR state = 'taken up')
"""
SET_HELD = """
INSERT INTO held (kind, part, until, record) VALUES (?, ?, ?, ?)
ON CONFLICT (kind, part) DO UPDATE SET until = excluded.until, record = excluded.record
"""
END_HELD = "DELETE FROM held WHERE kind = ? AND part = ?"
HELD = "SELECT record FROM held WHERE kind = :kind ORDER BY part"
HELD_OF = "SELECT record FROM held WHERE kind = :kind AND part = :part"
SET_CARE = """
INSERT INTO care (id, until, record) VALUES (?, ?, ?)
ON CONFLICT (id) DO UPDATE SET until = excluded.until, record = excluded.record
"""
END_CARE = "DELETE FROM care WHERE id = ?"
CARE = "SELECT record FROM care ORDER BY id"
OLD_REQUESTS = """
DELETE FROM requests WHERE id IN (SELECT id FROM requests WHERE done_at < ? AND id NOT IN (SELECT id FROM care) LIMIT ?)
"""

# --- where parts were -----------------------------------------------------------------------------------------

SET_STAY = """
INSERT INTO stays (controller, position, since, until, part, serial, place, record) VALUES (?, ?, ?, ?, ?, ?, ?, ?)
ON CONFLICT (controller, position, since) DO UPDATE SET until = excluded.until, part = excluded.part,
    serial = excluded.serial, place = excluded.place, record = excluded.record
"""
OLD_STAYS = "DELETE FROM stays WHERE rowid IN (SELECT rowid FROM stays WHERE until < ? LIMIT ?)"
STAYS = "SELECT record FROM stays ORDER BY since, rowid"
STAYS_OF_PART = """
SELECT s.record FROM (
    SELECT controller, position FROM stays WHERE part = :part
    UNION SELECT id, :part FROM controllers WHERE name = :controller
) p CROSS JOIN stays s ON s.controller = p.controller AND s.position = p.position ORDER BY s.since, s.rowid
"""
STAYS_OF_SERIAL = "SELECT record FROM stays WHERE serial = :serial ORDER BY since, rowid"
STAYS_AT = "SELECT record FROM stays WHERE place LIKE :place ESCAPE '!' ORDER BY since, rowid"

# --- frames ---------------------------------------------------------------------------------------------------

ADD_FRAME = """
INSERT INTO frames (id, controller, layout, time, earliest, latest, readings, healths, times)
VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)
"""
LAST_FRAME = "SELECT max(id) FROM frames"
LAST_SEALED_FRAME = "SELECT max(last_frame) FROM sealed"

# --- sealing and retention ------------------------------------------------------------------------------------

OLDEST_FRAMES = """
SELECT c.name, c.id,
    (SELECT f.time FROM frames f WHERE f.controller = c.id AND f.time < :before AND f.id <= :last AND f.kept = 0
        ORDER BY f.time LIMIT 1)
FROM controllers c ORDER BY c.name
"""
FRAMES_TO_SEAL = """
SELECT layout, time, readings, healths, times FROM frames
WHERE controller = :controller AND time >= :start AND time < :end AND id <= :last AND kept = 0 ORDER BY time, id
"""
ADD_SEALED = """
INSERT INTO sealed (path, hour, first_controller, last_controller, earliest, latest, last_frame, samples, bytes)
VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)
ON CONFLICT (path) DO UPDATE SET hour = excluded.hour, first_controller = excluded.first_controller,
    last_controller = excluded.last_controller, earliest = excluded.earliest, latest = excluded.latest,
    last_frame = excluded.last_frame, samples = excluded.samples, bytes = excluded.bytes
"""
FORGET_FRAMES = """
DELETE FROM frames WHERE time >= :start AND time < :end AND id <= :last AND controller = :controller AND id <> :newest
"""
KEEP_FRAME = "UPDATE frames SET kept = 1 WHERE id = :newest AND time >= :start AND time < :end AND id <= :last"
FORGET_KEPT = "DELETE FROM frames WHERE kept = 1 AND id NOT IN (SELECT frame FROM rounds WHERE frame IS NOT NULL)"
SEALED_PATHS = "SELECT path FROM sealed"
FORGET_SEALED = "DELETE FROM sealed WHERE path = ?"
OLD_SEALED = "SELECT path FROM sealed WHERE hour <= ?"
OLD_EVENTS = "DELETE FROM events WHERE id IN (SELECT id FROM events WHERE time < ? ORDER BY time LIMIT ?)"
OLD_CONDITIONS = """
DELETE FROM conditions WHERE (id, opened) IN (SELECT id, opened FROM conditions WHERE closed < ? LIMIT ?)
"""
OLD_LAYOUTS = """
DELETE FROM layouts WHERE id IN (
    SELECT l.id FROM layouts l JOIN controllers c ON c.id = l.controller
    WHERE c.layout <> l.id AND NOT EXISTS (SELECT 1 FROM frames f WHERE f.controller = c.id AND f.layout = l.id)
)
"""
RETIRED = "SELECT id FROM controllers WHERE retired < ?"
FORGET_CONTROLLER = tuple(
    f"DELETE FROM {table} WHERE {column} = ?"  # noqa: S608 - names from the line below
    for table, column in (
        *((table, "controller") for table in ("parts", "links", "statuses", "lamps", "rolled", "defects", "layouts")),
        *((table, "controller") for table in ("conditions", "events", "frames", "rounds", "heard", "stays", "margins")),
        *((table, "controller") for table in ("contacts", "settings", "misfits", "fronts", "holdings", "figures")),
        ("learnt", "controller"),
        ("controllers", "id"),
    )
)

# --- reading: {} takes one of the scopes below ------------------------------------------------------------------

ALL = "WHERE c.retired IS NULL"
ONE = "WHERE c.retired IS NULL AND c.name = :controller"

PARTS = "SELECT p.record FROM controllers c JOIN parts p ON p.controller = c.id {} ORDER BY c.name, p.position"
LINKS = """
SELECT k.part, k.needs, k.why FROM controllers c JOIN links k ON k.controller = c.id {} ORDER BY c.name, k.position
"""
SETTINGS = "SELECT s.record FROM controllers c JOIN settings s ON s.controller = c.id {} ORDER BY c.name, s.position"
LAYOUTS = "SELECT l.sensors FROM controllers c JOIN layouts l ON l.id = c.layout {} ORDER BY c.name"
LATEST = """
SELECT l.sensors, f.time, f.readings, f.healths, f.times
FROM controllers c JOIN rounds r ON r.controller = c.id JOIN frames f ON f.id = r.frame
JOIN layouts l ON l.id = f.layout {} ORDER BY c.name
"""
STATUSES = "SELECT s.part, s.record FROM controllers c JOIN statuses s ON s.controller = c.id {}"
LAMPS = "SELECT s.part, s.blue, s.amber FROM controllers c JOIN lamps s ON s.controller = c.id {}"
ROLLED = "SELECT s.part, s.record FROM controllers c JOIN rolled s ON s.controller = c.id {}"
DEFECTS = """
SELECT c.name, d.resource, d.property, d.kind, d.detail FROM controllers c JOIN defects d ON d.controller = c.id {}
ORDER BY c.name, d.resource, d.property, d.kind
"""

DEFECTS_ALIKE = """
SELECT c.name, d.resource, d.property, d.kind, d.detail, g.number, g.places FROM (
    SELECT min(f.rowid) AS one, count(*) AS number, count(DISTINCT f.controller) AS places
    FROM defects f JOIN controllers k ON k.id = f.controller WHERE k.retired IS NULL
    GROUP BY f.kind, f.property ORDER BY number DESC, one LIMIT :limit
) g JOIN defects d ON d.rowid = g.one JOIN controllers c ON c.id = d.controller ORDER BY g.number DESC, g.one
"""
"""One of those of one kind at one property, with how many there are and at how many controllers."""

CONDITION_ORDER = " ORDER BY s.severity DESC, s.opened, s.id LIMIT :limit"
OPEN_CONDITIONS = "SELECT s.record FROM conditions s JOIN controllers c ON c.id = s.controller {} AND s.closed IS NULL"
CONDITIONS = "SELECT s.record FROM conditions s JOIN controllers c ON c.id = s.controller {}"

EVENTS = """
SELECT e.time, c.name, e.part, e.subject, e.severity, e.text FROM events e JOIN controllers c ON c.id = e.controller
WHERE e.time >= :since ORDER BY e.time DESC, e.id DESC LIMIT :limit
"""
EVENTS_OF = """
SELECT e.time, c.name, e.part, e.subject, e.severity, e.text FROM events e JOIN controllers c ON c.id = e.controller
WHERE e.time >= :since AND e.controller = (SELECT id FROM controllers WHERE name = :controller)
ORDER BY e.time DESC, e.id DESC LIMIT :limit
"""

HOT = """
SELECT f.layout, f.time, f.readings, f.times
FROM frames f WHERE f.controller = (SELECT id FROM controllers WHERE name = :controller)
    AND f.kept = 0 AND f.latest >= :since AND f.earliest <= :until ORDER BY f.time
"""
LAYOUT = "SELECT sensors FROM layouts WHERE id = ?"
SEALED = """
SELECT path FROM sealed WHERE latest >= :since AND earliest <= :until
    AND first_controller <= :controller AND last_controller >= :controller ORDER BY hour, id
"""
IS_SEALED = "SELECT count(*) FROM sealed WHERE path = ?"
