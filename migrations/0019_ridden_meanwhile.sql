-- A late record pulls a unit that has ridden meanwhile, wherever the unit stood when the record came. Those that
-- came before, of units that had been moved since, are told as well. `store/muster.rs` says the same of each
-- record as it comes in.

insert into late_pull (seq, asset)
select distinct l.seq, g.asset from ground g join logbook l on l.seq = g.seq
where g.asset like 'unit:%' and g.kind in ('finding', 'another', 'taken-out', 'held', 'contaminated', 'doubted')
  and not (g.kind = 'doubted' and g.key glob 'doubted/*/*') and l.kind not in ('correction', 'fitting')
  and l.received_at - l.event_at >= 600000
  and exists (
      select 1 from placed p where p.unit = substr(g.asset, 6) and p.at = 'seat' and p.seq < l.seq
      and coalesce((select n.since from placed n where n.unit = p.unit and n.seq > p.seq and n.seq < l.seq
                    order by n.seq limit 1), l.event_at + 1) > l.event_at)
on conflict do nothing;
