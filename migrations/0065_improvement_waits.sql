-- Asks for a run that makes a usable plan better, behind all runs for shops that wait for one: those with promises that are
-- late come first. One a shop waits at most.
create function ask_for_a_better_plan(shop uuid, late boolean) returns void language plpgsql as $$
begin
    perform graphile_worker.add_job(
        'replan', json_build_object('shop_id', shop), queue_name := 'shop ' || shop,
        job_key := 'improve ' || shop, job_key_mode := 'preserve_run_at', priority := case when late then 50 else 100 end);
end
$$;
