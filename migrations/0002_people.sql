-- Secrets and personal fields: outside the logbook, can be changed and erased.

create table person (
    member   text primary key,                  -- the id that the logbook knows
    name     text not null,
    pin_hash text                               -- argon2id, PHC string; null: cannot sign
) strict;

create table session (
    token_hash blob    primary key check (length(token_hash) = 32),
    member     text    not null,
    began_at   integer not null,
    used_at    integer not null
) strict;
