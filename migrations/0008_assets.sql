-- What is known of the upkeep of each thing and source of air, and how often it is done. Computed from
-- the logbook like the rest; made anew at the start where it is empty.

create table upkeep (
    key    text primary key,                    -- cylinder:C-117, source/kettle, periods
    detail text not null                        -- as JSON
) strict, without rowid;

-- Every fill, sample and piece of upkeep, so that they can be listed.
create table upkeep_entry (
    seq   integer primary key references logbook (seq),
    kind  text    not null,
    about text    not null,                     -- asset or source/id
    at    integer not null
) strict;

create index upkeep_entry_by_about on upkeep_entry (about, at);

-- The last place on a rig or at a station, for what is on the bench or away.
create table home (
    asset text primary key,
    at    text not null,
    place text not null
) strict;
