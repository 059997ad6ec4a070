-- One row or more in every table of 0001, as a department in use would have them.

insert into logbook (seq, id, digest, kind, version, tablet, incarnation, number, event_at, received_at,
                     rules, engine, profile, client, previous, hash, bytes)
values
    (1, 'desk-1', zeroblob(32), 'register', 1, 'desk', null, null, 1000, 1000,
     null, null, null, 'sample', zeroblob(32), zeroblob(32), x'7b7d'),
    (2, 'check-1', zeroblob(32), 'check', 1, 'tablet-4', 'first', 18, 2000, 2100,
     'rules-digest', 1, 'us-4500-third', 'sample', zeroblob(32), zeroblob(32), x'7b7d'),
    (3, 'later-1', zeroblob(32), 'not-known-here', 9, 'tablet-4', 'first', 19, 3000, 3100,
     null, null, null, 'sample', zeroblob(32), zeroblob(32), x'7b7d'),
    (4, 'return-1', zeroblob(32), 'returned', 1, 'desk', null, null, 4000, 4000,
     null, null, null, 'sample', zeroblob(32), zeroblob(32), x'7b7d');

insert into logbook_head (only, epoch, seq, hash) values (1, 'epoch-1', 4, zeroblob(32));

insert into about (asset, seq) values ('unit:117', 2), ('unit:117', 4);
insert into attention (seq, why) values (3, 'a kind of record that is not known here');
insert into unproven (seq) values (2);
insert into said (id, seq) values ('check-1', 4);

insert into ground (asset, key, kind, from_id, run, detail, seq, cleared_at)
values
    ('unit:117', 'finding-1', 'finding', 'check-1', 'check-1', '{}', 2, null),
    ('unit:117', 'finding-2', 'finding', 'check-1', null, '{}', 2, 4000);
insert into claim (asset, key, seq, proving) values ('unit:117', 'finding-2', 4, zeroblob(32));

insert into check_row (seq, id, digest, unit, at, by, profile, purpose, outcome, verdict, clean, counts,
                       pressure, gauges, trip)
values (2, 'check-1', zeroblob(32), '117', 2000, 'member-1', 'us-4500-third', 'shift-start', 'finished',
        'out_of_service', 0, 1, '4480 psi', '4500 psi|4010 psi', '1500 psi');

insert into ticket (ticket, asset, opened_at, stage, stage_at) values (1, 'unit:117', 2000, 'reported', 2000);
insert into ticket_entry (ticket, seq) values (1, 2);

insert into rule_table (digest, name, edition, text, seq) values ('rules-digest', 'Sample', '1', '', 1);

insert into department (only, name, zone, shift_start, shift_hours, early_minutes, grace_minutes)
values (1, 'Sample district', 'America/Chicago', '07:00', 24, 60, 90);
insert into station (id, name, place) values ('one', 'Station one', 1);
insert into rig (id, name, station, place) values ('engine-1', 'Engine 1', 'one', 1);
insert into seat (id, rig, name, kit, place)
values ('engine-1-officer', 'engine-1', 'Officer', 0, 1), ('engine-1-rack', 'engine-1', 'Spare cylinders', 1, 2);
insert into asset (asset, profile, cadence, detail)
values ('unit:117', 'us-4500-third', 'shift', '{}'), ('cylinder:C1', null, null, '{}');
insert into holder (asset, at, place) values ('unit:117', 'seat', 'engine-1-officer'), ('cylinder:C1', 'unit', '117');
insert into member (id, roles, qualified) values ('member-1', '["crew"]', '[]');
