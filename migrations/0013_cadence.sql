-- How often things are to be checked: what each unit brings along, and what was said of a rig, of a place
-- on one, or of a station's spares. Every word is kept, so that a past period is asked by what held then.
create table cadence_set (
    seq     integer primary key references logbook (seq),
    spot    text    not null check (spot in ('unit', 'rig', 'seat', 'spares')),
    id      text    not null,                   -- of the unit, rig, seat or station
    since   integer not null,
    cadence text                                -- each_shift, weekly, …; null: nothing is said any more
) strict;

create index cadence_set_by_spot on cadence_set (spot, id, seq);

insert into cadence_set (seq, spot, id, since, cadence)
select seq, 'unit', json_extract(text, '$.body.number'), event_at, json_extract(text, '$.body.cadence')
from (select seq, event_at, cast(bytes as text) as text from logbook where kind = 'register')
where json_valid(text) and json_extract(text, '$.body.what') = 'unit'
order by seq;

-- Whether the department asks that whoever rides is known to the unit's alarm.
create table identification (
    only  integer primary key check (only = 1),
    asked text    not null,
    hours integer not null
) strict;

-- Who set what and when is read from records of a few kinds, which checks outnumber by far. A question
-- that is to use it says `kind <> 'check'`.
create index logbook_by_kind on logbook (kind, seq) where kind <> 'check';
