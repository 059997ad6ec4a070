-- A unit with another department.

insert into upkeep (key, detail)
values ('unit:902',
        '{"profile":"us-4500-third","done":{},"failed":{},"gone":false,"away":true,"check_from":1,"loan":{"way":"lent","unit":"902","to":"Harrow Creek","reference":"L-4","due_back":"2026-12-01"}}');
insert into holder (asset, at, place) values ('unit:902', 'away', '');
