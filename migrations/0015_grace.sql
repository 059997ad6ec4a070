-- For how many hours checks made with another rule table still count once this one is in force.
alter table rule_draft add column grace_hours integer check (grace_hours between 0 and 8760);

-- When which table was replaced is looked up for each check that was made with another one.
create index logbook_rules on logbook (seq) where kind = 'rules';

-- A limit on gauges that read in bar is said in bar: in the shipped table 450 psi are 31 bar.
update ground
   set detail = replace(replace(detail, '10 % of 300 and 450 psi', '10 % of 300 and 31 bar'),
                        '10 % of 200 and 450 psi', '10 % of 200 and 31 bar')
 where detail like '%00 and 450 psi%';
