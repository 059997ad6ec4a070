-- Everybody who was entered on a rig's seats in a shift, also who was relieved in it: `crew_seat` has the last
-- word only. Computed from the logbook; made anew at the start where it is empty.

create table ridden (
    rig    text    not null,
    shift  integer not null,                    -- when the shift began
    member text    not null,
    primary key (rig, shift, member)
) strict, without rowid;

create index ridden_by_shift on ridden (shift);

-- What is kept in memory of crews is read from here now, and from `crew_seat` no more.
drop trigger changed_crew_insert;
drop trigger changed_crew_update;
drop trigger changed_crew_delete;

create trigger changed_ridden_insert after insert on ridden
begin
    insert into changed (what, nth) values ('crews', (select coalesce(max(nth), 0) + 1 from changed))
    on conflict (what) do update set nth = excluded.nth;
end;
create trigger changed_ridden_update after update on ridden
begin
    insert into changed (what, nth) values ('crews', (select coalesce(max(nth), 0) + 1 from changed))
    on conflict (what) do update set nth = excluded.nth;
end;
create trigger changed_ridden_delete after delete on ridden
begin
    insert into changed (what, nth) values ('crews', (select coalesce(max(nth), 0) + 1 from changed))
    on conflict (what) do update set nth = excluded.nth;
end;

-- Rigs that do not take turns: volunteers', the chief's and the medics'. JSON list of their ids.
alter table rotation add column apart text not null default '[]';
