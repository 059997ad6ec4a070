-- What stands where on the bench, and what an administrator has read. Computed from the logbook.

alter table ticket add column under integer references ticket (ticket);  -- worked on under this one
alter table ticket add column sent text;        -- to which repairer, as JSON, while it is there

-- Grounds that were given a ticket of their own. All others are on the first open ticket of the asset.
create table ticket_ground (
    asset  text    not null,
    key    text    not null,
    ticket integer not null references ticket (ticket),
    primary key (asset, key)
) strict, without rowid;

-- Records that were read at once, as a page had asked.
create table acknowledged (
    digest text    primary key,                 -- of the record that was read
    seq    integer not null references logbook (seq)
) strict, without rowid;

insert or ignore into acknowledged (digest, seq)
select json_extract(cast(bytes as text), '$.body.of.digest'), seq
from logbook where kind = 'acknowledged' order by seq;

-- What is known of upkeep has grown: it is made anew at the next start.
delete from upkeep;
