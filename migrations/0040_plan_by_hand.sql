-- A plan that somebody was shown before applying a change by hand is kept as it was shown: the planner only changes it where
-- that saves a promise.

alter table plan add by_hand boolean not null default false;
