-- The logbook is the truth. Times are milliseconds since 1970-01-01T00:00:00Z, hashes 32 bytes.

create table logbook (
    seq         integer primary key,
    id          text    not null,               -- made by whoever wrote the record
    digest      blob    not null check (length(digest) = 32),   -- SHA-256 of bytes
    kind        text    not null,
    version     integer not null,
    tablet      text    not null,
    incarnation text,
    number      integer,                        -- the tablet's own count
    event_at    integer not null,               -- tablet time + offset
    received_at integer not null,
    rules       text,                           -- SHA-256 of the rule table's text, for a check
    engine      integer,
    profile     text,
    client      text    not null,
    previous    blob    not null check (length(previous) = 32),
    hash        blob    not null check (length(hash) = 32),
    bytes       blob    not null,               -- as sent
    unique (id, digest)
) strict;

create index logbook_by_tablet on logbook (tablet, incarnation, number);

create trigger logbook_no_update before update on logbook
begin select raise(abort, 'the logbook is only ever added to'); end;
create trigger logbook_no_delete before delete on logbook
begin select raise(abort, 'the logbook is only ever added to'); end;

create table logbook_head (
    only  integer primary key check (only = 1),
    epoch text    not null,                     -- new after a restore
    seq   integer not null,
    hash  blob    not null check (length(hash) = 32),
    backed_up integer not null default 0        -- records up to this one are in a proved backup
) strict;

-- Everything below is computed from the logbook and can be made anew from it.

-- Which records concern which asset.
create table about (
    asset text    not null,
    seq   integer not null references logbook (seq),
    primary key (asset, seq)
) strict, without rowid;

-- Records that cannot be judged here.
create table attention (
    seq integer primary key references logbook (seq),
    why text    not null
) strict;

-- Signed checks whose signature nothing has proven yet.
create table unproven (
    seq integer primary key references logbook (seq)
) strict;

-- Desk records that speak about a field record.
create table said (
    id  text    not null,                       -- the field record's id
    seq integer not null references logbook (seq),
    primary key (id, seq)
) strict, without rowid;

-- Grounds ever raised, and from when on something has cleared them.
create table ground (
    asset      text    not null,
    key        text    not null,
    kind       text    not null,
    from_id    text    not null,
    run        text,
    detail     text    not null,                -- the ground in full, as JSON
    seq        integer not null references logbook (seq),
    cleared_at integer,
    primary key (asset, key)
) strict, without rowid;

create index ground_open on ground (asset) where cleared_at is null;
create index ground_by_run on ground (run) where run is not null;
create index ground_by_record on ground (from_id);

-- Which record may clear which ground. A return also names its proving check.
create table claim (
    asset   text    not null,
    key     text    not null,
    seq     integer not null references logbook (seq),
    proving blob,
    primary key (asset, key, seq)
) strict, without rowid;

create index claim_by_record on claim (seq);
create index claim_by_proof on claim (proving) where proving is not null;

-- One row a check.
create table check_row (
    seq      integer primary key references logbook (seq),
    id       text    not null,
    digest   blob    not null unique,
    unit     text    not null,                  -- its number
    at       integer not null,
    by       text,
    profile  text    not null,
    purpose  text    not null,
    outcome  text    not null,
    verdict  text,                              -- null: it cannot be judged here
    clean    integer not null check (clean in (0, 1)),
    counts   integer not null check (counts in (0, 1)),
    pressure text,                              -- as read
    gauges   text,                              -- cylinder|remote, as read
    trip     text                               -- where the low-air alarm started, as read
) strict;

create index check_by_unit on check_row (unit, at);
create index check_by_id on check_row (id);
create index check_that_counts on check_row (unit, at) where clean = 1 and counts = 1;

create table ticket (
    ticket    integer primary key,
    asset     text    not null,
    opened_at integer not null,
    stage     text    not null,
    stage_at  integer not null
) strict;

create index ticket_by_asset on ticket (asset);

-- What happened on a ticket.
create table ticket_entry (
    ticket integer not null references ticket (ticket),
    seq    integer not null references logbook (seq),
    primary key (ticket, seq)
) strict, without rowid;

create table rule_table (
    digest  text    primary key,
    name    text    not null,
    edition text    not null,
    text    text    not null,
    seq     integer not null references logbook (seq)
) strict;

-- The register.

create table department (
    only          integer primary key check (only = 1),
    name          text    not null,
    zone          text    not null,
    shift_start   text    not null,
    shift_hours   integer not null,
    early_minutes integer not null,
    grace_minutes integer not null
) strict;

create table station (
    id    text    primary key,
    name  text    not null,
    place integer not null
) strict;

create table rig (
    id      text    primary key,
    name    text    not null,
    station text    not null references station (id),
    place   integer not null
) strict;

create table seat (
    id    text    primary key,
    rig   text    not null references rig (id),
    name  text    not null,
    kit   integer not null check (kit in (0, 1)),
    place integer not null
) strict;

create table asset (
    asset   text    primary key,
    profile text,                               -- of a unit
    cadence text,                               -- of a unit
    detail  text    not null                    -- serials, size, rated pressure, as JSON
) strict;

create table holder (
    asset text    primary key,
    at    text    not null,
    place text    not null                      -- seat, station or unit; empty for bench and repairer
) strict;

create index holder_by_place on holder (at, place);

create table member (
    id        text    primary key,
    roles     text    not null,                 -- JSON list
    qualified text    not null                  -- JSON list
) strict;
