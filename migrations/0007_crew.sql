-- Who rides what, what rigs are for, and how far it is. Computed from the logbook, like 0001.

create table rotation (
    only  integer primary key check (only = 1),
    turns text    not null,                     -- names of platoons, JSON list
    first integer not null                      -- a moment in a shift of the first of them
) strict;

create table drive (
    one     text    not null,                   -- the two stations, in the order of their ids
    other   text    not null,
    minutes integer not null,
    primary key (one, other)
) strict, without rowid;

alter table rig add column duty text not null default 'in_use';
alter table rig add column why text not null default '';    -- to whom it is lent, why it is out

create table crew (
    rig   text    not null,
    shift integer not null,                     -- when the shift began
    seq   integer not null references logbook (seq),
    primary key (rig, shift)
) strict, without rowid;

create table crew_seat (
    rig    text    not null,
    shift  integer not null,
    seat   text    not null,
    member text    not null,
    primary key (rig, shift, seat)
) strict, without rowid;

create index crew_seat_by_shift on crew_seat (shift, member);

create table rig_accepted (
    seq   integer primary key references logbook (seq),
    rig   text    not null,
    shift integer not null
) strict;

create index rig_accepted_by_rig on rig_accepted (rig, shift);

-- Records that came late and pulled a unit which had ridden meanwhile.
create table late_pull (
    seq          integer not null references logbook (seq),
    asset        text    not null,
    acknowledged integer references logbook (seq),
    primary key (seq, asset)
) strict, without rowid;

create index late_pull_open on late_pull (seq) where acknowledged is null;

-- Personal: outside the logbook, can be changed and erased.

create table fit_test (
    id     integer primary key,
    member text    not null,
    tested text    not null,                    -- the day, YYYY-MM-DD
    make   text    not null,
    model  text    not null,
    style  text    not null,
    size   text    not null
) strict;

create index fit_test_by_member on fit_test (member);

create table clearance (
    member  text    primary key,
    cleared integer not null check (cleared in (0, 1)),
    since   text    not null                    -- the day of the word, YYYY-MM-DD; nothing else
) strict;
