update check_row set took = 420000, least = 180000;
insert into changed (what, nth) values ('crews', 1000000) on conflict (what) do update set nth = excluded.nth;
