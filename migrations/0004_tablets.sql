-- Tablets that were enrolled. This table is computed from the logbook and can be made anew from it.
create table tablet (
    id                  text    primary key,    -- as its records name it
    name                text    not null,
    station             text    not null references station (id),
    public_key          text,                   -- P-256 point in hexadecimal; null: it cannot sign
    enrolled_at         integer not null,
    enrolled_by         text,                   -- null: at the console
    revoked_at          integer,
    revoked_by          text,
    trusted_incarnation text,                   -- of a revoked tablet: what is still believed
    trusted_number      integer
) strict;

-- Everything below is outside the logbook.

-- How a tablet is known, and what it said of itself when it was last heard.
create table tablet_access (
    tablet      text    primary key references tablet (id),
    token_hash  blob    unique check (length(token_hash) = 32),     -- null: its session has ended
    seen_at     integer not null,
    holding     integer,                        -- records that the server has not taken
    oldest_at   integer,                        -- when the oldest of them was written
    incarnation text,
    number      integer                         -- the last that it has written
) strict;

-- Codes with which a tablet can be enrolled, each once.
create table tablet_code (
    code_hash blob    primary key check (length(code_hash) = 32),
    name      text    not null,
    station   text    not null references station (id),
    made_by   text    not null,
    ends_at   integer not null,
    tries     integer not null default 0        -- codes that were guessed while it was open
) strict;

-- What a tablet's key says of a record: P-256 with SHA-256, r and s of 32 bytes each.
create table tablet_signature (
    seq       integer primary key references logbook (seq),
    signature blob    not null check (length(signature) = 64)
) strict;
