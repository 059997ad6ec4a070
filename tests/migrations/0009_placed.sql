-- A unit that was moved from a seat to the bench.

insert into placed (unit, seq, since, at, place)
values ('117', 1, 1000, 'seat', 'engine-1-officer'), ('117', 2, 2000, 'bench', '');
