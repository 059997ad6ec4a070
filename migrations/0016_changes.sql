alter table logbook_head add column changes integer not null default 0; -- writes that something shown may hang on
