-- A cylinder on a unit, with the moment since when it is there.

insert into upkeep (key, detail) values ('cylinder:C-1', '{"with":"117","since":1781006400000}');
