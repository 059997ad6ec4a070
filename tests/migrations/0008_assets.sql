-- A cylinder with its marks, a fill, and where it belongs.

insert into upkeep (key, detail)
values ('cylinder:C1', '{"rated":"4500 psi","done":{},"failed":{},"gone":false}'), ('periods', '[]');
insert into upkeep_entry (seq, kind, about, at) values (1, 'fill', 'cylinder:C1', 1000);
insert into home (asset, at, place) values ('unit:117', 'seat', 'engine-1-officer');
