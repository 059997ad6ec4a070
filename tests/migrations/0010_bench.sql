-- A ticket worked on under another, one with a repairer, a ground split off, a record read.

insert into ticket (ticket, asset, opened_at, stage, stage_at) values (900, 'unit:900', 1, 'reported', 1);
insert into ticket (ticket, asset, opened_at, stage, stage_at, under, sent)
values (901, 'unit:901', 1, 'at_repairer', 1, 900,
        '{"repairer":"Basin Instruments","reference":"BI-7","due_back":"2026-12-01"}');
insert into ticket_ground (asset, key, ticket) values ('unit:901', 'taken-out/x', 901);
insert into acknowledged (digest, seq) values ('ab', 1);
insert into upkeep (key, detail)
values ('cylinder:C2', '{"rated":"4500 psi","done":{},"failed":{},"gone":false}');
