-- Whether a crew's good check waits for an officer's countersignature.
create table countersigning (
    only     integer primary key check (only = 1),
    required integer not null
) strict;

-- Good checks that wait for one.
create table uncountersigned (
    seq integer primary key references logbook (seq)
) strict;

-- What an officer found out about a tablet's records that do not follow one another.
create table gap_dealt (
    seq integer primary key references logbook (seq)
) strict;
