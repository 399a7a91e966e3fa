-- After a job is done it is collected, and invoiced. Both are days; opening the job again takes them back.

alter table job
    add collected_on date check (collected_on is null or state = 'done'),
    add invoiced_on date check (invoiced_on is null or state = 'done');

alter table job_step drop constraint job_step_kind_check;
alter table job_step add check (kind in ('entered', 'changed', 'rescheduled', 'closed', 'cancelled', 'reopened', 'collected', 'invoiced'));

-- What is done and has not been invoiced, or not collected, is looked for among many that are.
create index job_to_settle on job (shop_id, number) where state = 'done' and (invoiced_on is null or collected_on is null);
