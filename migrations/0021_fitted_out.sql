-- A finding on a facepiece or cylinder says on which unit it was made: of the check that raised it, or the
-- right one by the correction that did.
update ground
   set detail = substr(detail, 1, length(detail) - 1) || ',"on":' || json_quote(coalesce(
           (select unit from check_row where check_row.seq = ground.seq),
           (select json_extract(cast(bytes as text), '$.body.right_unit[0]') from logbook
             where logbook.seq = ground.seq and kind = 'correction'))) || '}'
 where kind = 'finding' and substr(asset, 1, 5) <> 'unit:';

-- What is known of upkeep now says since when a thing is on its unit; it is made anew from the logbook at
-- the start.
delete from upkeep;
