-- Lists of a shop with years behind it: what is looked for without being searched for by words comes from an index.

-- Jobs that are done and that nobody has collected, the first due first.
create index job_to_collect on job (shop_id, due_on, number) where state = 'done' and collected_on is null;

-- Bookings are only ever appended, so the newest says whether there are new ones.
create index booking_by_sequence on booking (shop_id, sequence);
