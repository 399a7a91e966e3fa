-- How many jobs are late together, at least, in the worst fifth of the futures drawn of the plan.

alter table plan add late_together int check (late_together >= 0);
