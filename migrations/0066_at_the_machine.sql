-- What is set at the machine for an element where no cut says it: stock per pass, feed, stones. A starting point that is printed on
-- the card.
alter table element add column at_machine text not null default '' check (length(at_machine) <= 500);
