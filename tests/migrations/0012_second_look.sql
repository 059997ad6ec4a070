-- A department that has its checks countersigned, one that waits, and a gap that was looked into.

insert into countersigning (only, required) values (1, 1);
insert into uncountersigned (seq) values (1);
insert into gap_dealt (seq) values (1);
