-- A tablet in use and one that was given up, an open code, and a signed record.

insert into tablet (id, name, station, public_key, enrolled_at, enrolled_by, revoked_at, revoked_by,
                    trusted_incarnation, trusted_number)
values
    ('tablet-4', 'Bay', 'one', '04', 1000, 'member-1', null, null, null, null),
    ('tablet-5', 'Office', 'one', null, 1000, null, 2000, 'member-1', 'first', 7);
insert into tablet_access (tablet, token_hash, seen_at, holding, oldest_at, incarnation, number)
values
    ('tablet-4', zeroblob(32), 3000, 2, 2500, 'first', 19),
    ('tablet-5', null, 1500, null, null, null, null);
insert into tablet_code (code_hash, name, station, made_by, ends_at)
values (zeroblob(32), 'Spare', 'one', 'member-1', 9000);
insert into tablet_signature (seq, signature) values (2, zeroblob(64));
