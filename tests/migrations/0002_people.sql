-- A member who can sign and one who cannot, and a session.

insert into person (member, name, pin_hash) values ('member-1', 'A. Sample', '$argon2id$'), ('member-2', 'B. Sample', null);
insert into session (token_hash, member, began_at, used_at) values (zeroblob(32), 'member-1', 1000, 2000);
