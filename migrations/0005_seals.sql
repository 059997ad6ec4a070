-- Signatures that came sealed, and wrong PINs: beside the logbook, never in it.

create table seal (
    seq         integer primary key references logbook (seq),   -- the check that it signs
    received_at integer not null,
    mark        blob    not null check (length(mark) = 32),      -- SHA-256 of the seal
    bytes       blob,                           -- as sent; null once it was opened or let go
    outcome     text,                           -- what came of it; null while it waits
    told        integer not null default 0 check (told in (0, 1))   -- whether the logbook knows
) strict;

create index seal_waiting on seal (seq) where bytes is not null;
create index seal_untold on seal (seq) where outcome is not null and told = 0;

-- The PIN before the one in force still proves what was signed with no network, until then.
alter table person add column previous_hash text;
alter table person add column previous_until integer;

-- Wrong PINs since the last right one of this member on this tablet.
create table pin_failure (
    member   text    not null,
    tablet   text    not null,                  -- empty: something that has no name
    sealed   integer not null check (sealed in (0, 1)),     -- given on a page, or with a seal
    failures integer not null,
    last_at  integer not null,
    primary key (member, tablet, sealed)
) strict, without rowid;

create index pin_failure_by_tablet on pin_failure (tablet);
