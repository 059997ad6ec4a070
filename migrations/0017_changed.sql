-- How long a check took, from its first step to the signature, and how long the steps answered take at
-- least, in milliseconds. Rows written before are filled at the next start. A check of which the form is not
-- known has no least time.
alter table check_row add column took integer;
alter table check_row add column least integer;

create index check_untimed on check_row (seq) where took is null;

-- What was written about, and the number of that change: whoever keeps in memory what was read of a unit, or
-- a whole table, asks what has changed since. Outside the logbook; the numbers mean nothing else.
create table changed (
    what text    primary key,                   -- unit:117, or what is kept as a whole
    nth  integer not null
) strict, without rowid;

create index changed_by_nth on changed (nth);

-- Whatever is kept of a unit is read from these tables and from no others: the records about it, its checks,
-- what was said to them, the grounds against it, what is known of its upkeep. Each of their writes is seen
-- here, whichever program makes it. A table that is read for what is kept needs its triggers.
create trigger changed_about after insert on about when substr(new.asset, 1, 5) = 'unit:'
begin
    insert into changed (what, nth) values (new.asset, (select coalesce(max(nth), 0) + 1 from changed))
    on conflict (what) do update set nth = excluded.nth;
end;
create trigger changed_check_insert after insert on check_row
begin
    insert into changed (what, nth) values ('unit:' || new.unit, (select coalesce(max(nth), 0) + 1 from changed))
    on conflict (what) do update set nth = excluded.nth;
end;
create trigger changed_check_delete after delete on check_row
begin
    insert into changed (what, nth) values ('unit:' || old.unit, (select coalesce(max(nth), 0) + 1 from changed))
    on conflict (what) do update set nth = excluded.nth;
end;
create trigger changed_check_update after update on check_row
begin
    insert into changed (what, nth) values ('unit:' || old.unit, (select coalesce(max(nth), 0) + 1 from changed))
    on conflict (what) do update set nth = excluded.nth;
    insert into changed (what, nth) values ('unit:' || new.unit, (select coalesce(max(nth), 0) + 1 from changed))
    on conflict (what) do update set nth = excluded.nth;
end;
create trigger changed_ground_insert after insert on ground when substr(new.asset, 1, 5) = 'unit:'
begin
    insert into changed (what, nth) values (new.asset, (select coalesce(max(nth), 0) + 1 from changed))
    on conflict (what) do update set nth = excluded.nth;
end;
create trigger changed_ground_update after update on ground when substr(new.asset, 1, 5) = 'unit:'
begin
    insert into changed (what, nth) values (new.asset, (select coalesce(max(nth), 0) + 1 from changed))
    on conflict (what) do update set nth = excluded.nth;
end;
create trigger changed_ground_delete after delete on ground when substr(old.asset, 1, 5) = 'unit:'
begin
    insert into changed (what, nth) values (old.asset, (select coalesce(max(nth), 0) + 1 from changed))
    on conflict (what) do update set nth = excluded.nth;
end;
create trigger changed_said after insert on said
begin
    insert into changed (what, nth)
    select distinct 'unit:' || unit, (select coalesce(max(nth), 0) + 1 from changed) from check_row where id = new.id
    on conflict (what) do update set nth = excluded.nth;
end;
create trigger changed_uncountersigned_insert after insert on uncountersigned
begin
    insert into changed (what, nth)
    select distinct 'unit:' || unit, (select coalesce(max(nth), 0) + 1 from changed) from check_row where seq = new.seq
    on conflict (what) do update set nth = excluded.nth;
end;
create trigger changed_uncountersigned_delete after delete on uncountersigned
begin
    insert into changed (what, nth)
    select distinct 'unit:' || unit, (select coalesce(max(nth), 0) + 1 from changed) from check_row where seq = old.seq
    on conflict (what) do update set nth = excluded.nth;
end;

-- What is kept as a whole.
create trigger changed_upkeep_insert after insert on upkeep
begin
    insert into changed (what, nth)
    select new.key, (select coalesce(max(nth), 0) + 1 from changed) where substr(new.key, 1, 5) = 'unit:'
    on conflict (what) do update set nth = excluded.nth;
    insert into changed (what, nth) values ('upkeep', (select coalesce(max(nth), 0) + 1 from changed))
    on conflict (what) do update set nth = excluded.nth;
end;
create trigger changed_upkeep_update after update on upkeep
begin
    insert into changed (what, nth)
    select new.key, (select coalesce(max(nth), 0) + 1 from changed) where substr(new.key, 1, 5) = 'unit:'
    on conflict (what) do update set nth = excluded.nth;
    insert into changed (what, nth) values ('upkeep', (select coalesce(max(nth), 0) + 1 from changed))
    on conflict (what) do update set nth = excluded.nth;
end;
create trigger changed_upkeep_delete after delete on upkeep
begin
    insert into changed (what, nth)
    select old.key, (select coalesce(max(nth), 0) + 1 from changed) where substr(old.key, 1, 5) = 'unit:'
    on conflict (what) do update set nth = excluded.nth;
    insert into changed (what, nth) values ('upkeep', (select coalesce(max(nth), 0) + 1 from changed))
    on conflict (what) do update set nth = excluded.nth;
end;
create trigger changed_placed_insert after insert on placed
begin
    insert into changed (what, nth) values ('placed', (select coalesce(max(nth), 0) + 1 from changed))
    on conflict (what) do update set nth = excluded.nth;
end;
create trigger changed_placed_update after update on placed
begin
    insert into changed (what, nth) values ('placed', (select coalesce(max(nth), 0) + 1 from changed))
    on conflict (what) do update set nth = excluded.nth;
end;
create trigger changed_placed_delete after delete on placed
begin
    insert into changed (what, nth) values ('placed', (select coalesce(max(nth), 0) + 1 from changed))
    on conflict (what) do update set nth = excluded.nth;
end;
create trigger changed_cadence_set_insert after insert on cadence_set
begin
    insert into changed (what, nth) values ('cadences', (select coalesce(max(nth), 0) + 1 from changed))
    on conflict (what) do update set nth = excluded.nth;
end;
create trigger changed_cadence_set_update after update on cadence_set
begin
    insert into changed (what, nth) values ('cadences', (select coalesce(max(nth), 0) + 1 from changed))
    on conflict (what) do update set nth = excluded.nth;
end;
create trigger changed_cadence_set_delete after delete on cadence_set
begin
    insert into changed (what, nth) values ('cadences', (select coalesce(max(nth), 0) + 1 from changed))
    on conflict (what) do update set nth = excluded.nth;
end;
create trigger changed_seat_insert after insert on seat
begin
    insert into changed (what, nth) values ('cadences', (select coalesce(max(nth), 0) + 1 from changed))
    on conflict (what) do update set nth = excluded.nth;
end;
create trigger changed_seat_update after update on seat
begin
    insert into changed (what, nth) values ('cadences', (select coalesce(max(nth), 0) + 1 from changed))
    on conflict (what) do update set nth = excluded.nth;
end;
create trigger changed_seat_delete after delete on seat
begin
    insert into changed (what, nth) values ('cadences', (select coalesce(max(nth), 0) + 1 from changed))
    on conflict (what) do update set nth = excluded.nth;
end;
create trigger changed_crew_insert after insert on crew_seat
begin
    insert into changed (what, nth) values ('crews', (select coalesce(max(nth), 0) + 1 from changed))
    on conflict (what) do update set nth = excluded.nth;
end;
create trigger changed_crew_update after update on crew_seat
begin
    insert into changed (what, nth) values ('crews', (select coalesce(max(nth), 0) + 1 from changed))
    on conflict (what) do update set nth = excluded.nth;
end;
create trigger changed_crew_delete after delete on crew_seat
begin
    insert into changed (what, nth) values ('crews', (select coalesce(max(nth), 0) + 1 from changed))
    on conflict (what) do update set nth = excluded.nth;
end;
