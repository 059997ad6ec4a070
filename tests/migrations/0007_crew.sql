-- Two platoons, a drive, a crew on a rig, its acceptance, a late record, and what is personal.

insert into rotation (only, turns, first) values (1, '["A","B"]', 1000);
insert into drive (one, other, minutes) values ('one', 'two', 12);
insert into crew (rig, shift, seq) values ('engine-1', 1000, 1);
insert into crew_seat (rig, shift, seat, member) values ('engine-1', 1000, 'engine-1-officer', 'member-1');
insert into rig_accepted (seq, rig, shift) values (2, 'engine-1', 1000);
insert into late_pull (seq, asset, acknowledged) values (2, 'unit:117', 4), (3, 'unit:117', null);
insert into fit_test (member, tested, make, model, style, size)
values ('member-1', '2026-03-01', 'Sample', 'One', 'full', 'medium');
insert into clearance (member, cleared, since) values ('member-1', 1, '2026-01-15'), ('member-2', 0, '2026-02-01');
