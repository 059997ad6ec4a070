-- Which record names which photograph; computed from the logbook.
create table photo_named (
    seq    integer primary key references logbook (seq),
    digest blob    not null check (length(digest) = 32),   -- SHA-256 of the bytes as sent
    asset  text    not null,
    run    text                                 -- of the check in which it was taken
) strict;

create index photo_named_by_digest on photo_named (digest);
create index photo_named_by_asset on photo_named (asset);
create index photo_named_by_run on photo_named (run) where run is not null;

-- The pictures: sent apart, made anew here, so that nothing of what the camera wrote beside them
-- is left. Not computed from the logbook.
create table photo (
    digest      blob    primary key check (length(digest) = 32),
    received_at integer not null,
    width       integer not null,
    height      integer not null,
    bytes       blob    not null                -- a JPEG
) strict;
