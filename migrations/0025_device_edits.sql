-- A device can be given another name or another usual machine: edits are counted, so that a stale one is refused.

alter table device add column version integer not null default 1;
