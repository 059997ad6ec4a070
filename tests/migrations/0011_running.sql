-- A draft that waits for its moment, a token, and a notice that was sent.

insert into rule_draft (digest, text, by, at, starts_at, again, planned_by)
values ('00', 'format = 1', 'ada', 1000, 2000, 1, 'ada');
insert into api_token (token_hash, name, made_by, made_at) values (zeroblob(32), 'readiness board', 'ada', 1000);
insert into notice_sent (key, sent_at) values ('out/117', 1000);
