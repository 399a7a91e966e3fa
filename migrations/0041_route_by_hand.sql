-- The route of a job under way is changed by hand; a step of the job says so, with why.

alter table job_step drop constraint job_step_kind_check;
alter table job_step add check (kind in ('entered', 'changed', 'rescheduled', 'rerouted', 'closed', 'cancelled', 'reopened', 'collected', 'invoiced'));
