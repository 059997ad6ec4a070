insert into cadence_set (seq, spot, id, since, cadence) values
    (1, 'rig', 'engine-2', 1764140400000, 'weekly'),
    (2, 'rig', 'engine-2', 1764140400000, null);
insert into identification (only, asked, hours) values (1, 'shown', 25);
