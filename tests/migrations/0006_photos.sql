-- A photo that a check took, whose picture is there, and one whose picture is still on its way.

insert into photo_named (seq, digest, asset, run) values (2, zeroblob(32), 'unit:117', 'run-1'), (3, randomblob(32), 'unit:117', null);
insert into photo (digest, received_at, width, height, bytes) values (zeroblob(32), 2200, 4, 3, x'ffd8ffd9');
