-- A seal that waits and one that was opened, a PIN that was changed, and wrong ones.

insert into seal (seq, received_at, mark, bytes) values (2, 2100, zeroblob(32), x'01');
insert into seal (seq, received_at, mark, outcome, told) values (3, 3100, zeroblob(32), 'wrong', 0);
update person set previous_hash = '$argon2id$', previous_until = 9000 where member = 'member-1';
insert into pin_failure (member, tablet, sealed, failures, last_at)
values ('member-1', 'tablet-4', 0, 3, 2000), ('member-1', 'tablet-4', 1, 1, 2100), ('member-2', '', 0, 20, 2200);
