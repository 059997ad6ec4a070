-- Rule tables that were uploaded and are not in force: outside the logbook, which learns of a table
-- when it comes into force.
create table rule_draft (
    digest     text    primary key,             -- SHA-256 of the text
    text       text    not null,
    by         text    not null,                -- who uploaded it
    at         integer not null,
    starts_at  integer,                         -- when it is to come into force
    again      integer not null default 0 check (again in (0, 1)),  -- look at last checks again then
    planned_by text,                            -- who said so
    refused    text                             -- why it did not come into force
) strict;

-- Who may read lists by program. Only hashes of tokens are kept.
create table api_token (
    id         integer primary key,
    token_hash blob    not null unique check (length(token_hash) = 32),
    name       text    not null,                -- what it is for
    made_by    text    not null,
    made_at    integer not null,
    used_at    integer,
    revoked_at integer
) strict;

-- What notices were sent about and still holds: so that each thing is told once.
create table notice_sent (
    key     text    primary key,                -- out/117, open/seat-3, late/121
    sent_at integer not null
) strict, without rowid;
