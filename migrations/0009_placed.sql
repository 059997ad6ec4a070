-- Where each unit was, from when on. Computed from the logbook; made anew at the start where it is empty.

create table placed (
    unit  text    not null,                     -- its number
    seq   integer not null references logbook (seq),
    since integer not null,
    at    text    not null,
    place text    not null,
    primary key (unit, seq)
) strict, without rowid;
