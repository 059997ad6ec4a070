-- What is known of upkeep has grown: a unit that is away is known to be, and one that is lent, to whom.
-- It is made anew at the next start.
delete from upkeep;
